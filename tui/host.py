"""What the app should know of the program that runs the ride for it, and how that is told."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Host:
    """The program that runs the ride, as it is now."""

    record: str = ""
    """File in which the run is kept; "" = it is not."""
    invitation: str = ""
    """What to type in another terminal to join as the trainee; "" = nobody can."""
    code: str = ""
    """Lets the next trainee in; "" = the seat is taken, or nobody can join."""
    only_here: bool = True
    """False: the seat is offered on the network."""
    trainee: str = ""
    """ "not joined", "joined" or "cut off"; "" = nobody can join."""

    def how_to_join(self) -> list[str]:
        """How a trainee joins, line by line."""
        return [
            f"In another terminal the trainee types:  {self.invitation}",
            *([f"and then the code:  {self.code}"] if self.code else []),
            "Only from this machine."
            if self.only_here
            else "From any machine that reaches this one on the network.",
            f"Trainee: {self.trainee or 'not joined'}. I shows this again.",
        ]

    def second_seat(self) -> str:
        """The same for the help, in Markdown."""
        code = f"The code to join is **{self.code}**." if self.code else ""
        return (
            f"## A second seat\nIn another terminal, the trainee types:\n\n"
            f"`{self.invitation}`\n\n{code} Trainee: {self.trainee}."
        )

    def kept(self) -> list[str]:
        """Where the run can be continued from, when the ride is gone."""
        if not self.record:
            return []
        return [
            f"The run is kept in {self.record} and can be continued from there at the next start."
        ]

    @property
    def losses(self) -> list[str]:
        """What ends, or is lost, when the app is left."""
        joined = "A trainee has joined: leaving ends the ride in that terminal too."
        unrecorded = "The run is not recorded: leaving ends it for good."
        return [joined] * (self.trainee == "joined") + [unrecorded] * (not self.record)

    def farewell(self, judged: bool) -> str | None:
        """What the terminal says after the app was left; None: nothing. `judged`: a drill was
        worked on and is over."""
        if not self.record:
            return None
        kept = f"The run is kept in {self.record}; "
        if judged:
            page = "--report debrief.html writes its debrief as a page to print."
            return f"{kept}pneumo drill --continue {self.record} {page}"
        return f"{kept}pneumo dashboard --continue {self.record} goes on with it."
