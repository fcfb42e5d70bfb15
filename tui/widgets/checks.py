"""Fail-safe checks of the ride: what is known of them, and how that is shown beside the
verification."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from textual.content import Content

from pneumo.live.check import about, losses_by_zone, outcome_data, verified
from pneumo.live.link import Link
from pneumo.verification.case import Injection, Loss
from pneumo.verification.plan import Trial
from pneumo.verification.verdict import UNSOUND, VERDICTS, Verdict, Verification
from pneumo.verification.wording import injection_words, loss_words
from tui import text
from tui.widgets.verdicts import STYLES, LossRow, letter, outcome_lines, unsound_line


class Checks:
    """The latest verdicts of the checks of this session, and the verification they stand beside."""

    def __init__(self, link: Link, zone: str) -> None:
        self._link = link
        self.zone = zone
        """Zone that is checked; "" = this ride has none."""
        self.unsound: tuple[tuple[str, str], ...] = ()
        """What this circuit does wrong without any fault, as the latest check told it: what is
        seen, and its first cause."""
        self.verification: Verification | None = None
        self._found: dict[str, tuple[float, dict[Loss, Mapping[str, Any]]]] = {}
        """Zone -> (time of the ride, loss -> its outcome) of the latest check."""
        self._asked: dict[str, float] = {}
        """Zone -> time of the ride when its check was asked for."""
        self._trials: dict[str, dict[Loss, Trial]] = {}
        self._worst: dict[tuple[str, Loss | None, str], Verdict] = {}
        """(zone, loss, state injected during) -> worst verdict of the verification."""

    # what comes in

    def asked(self) -> None:
        """A check of the zone is asked for, now."""
        frame = self._link.frame
        if frame.mode == "check":
            self._asked.setdefault(self.zone, frame.time)
        else:
            self._asked[self.zone] = frame.time

    def told(self, data: Mapping[str, Any]) -> str:
        """Takes the outcomes of a check (`pneumo.live.check`); returns its zone, "" = none here."""
        zone = str(data["zone"])
        if zone not in self._link.plant.zones:
            return ""
        time = self._asked.get(zone, self._link.frame.time)
        self._found[zone] = (time, {e["loss"]: e for e in data["outcomes"]})
        self.unsound = tuple((str(seen), str(cause)) for seen, cause in data["unsound"])
        return zone

    def beside(self, verification: Verification) -> None:
        """Another verification to stand beside."""
        self.verification = verification
        self._worst = {}
        for case in verification.cases:
            for outcome in case.outcomes if case.injection.loss else ():
                key = (outcome.zone, case.injection.loss, outcome.injected_during)
                worst: Verdict = self._worst.get(key, "safe")
                self._worst[key] = max(worst, outcome.verdict, key=VERDICTS.index)

    # what is known

    def losses_of(self, zone: str) -> list[Loss]:
        """The losses that a zone can be checked with."""
        return list(self._trials_of(zone))

    def _trials_of(self, zone: str) -> dict[Loss, Trial]:
        """Loss -> how it is tried."""
        if not self._trials:
            self._trials = {
                name: {trial.injection.loss: trial for trial in trials if trial.injection.loss}
                for name, trials in losses_by_zone(self._link.plant.circuit).items()
            }
        return self._trials.get(zone, {})

    @property
    def state(self) -> str:
        """What the logic of the zone believes; in a check, when it began."""
        if not self.zone:
            return ""
        frame, found = self._link.frame, self._found.get(self.zone)
        if found and frame.mode == "check":
            first = next(iter(found[1].values()), None)
            if first is not None:
                return str(first["injected_during"])
        return frame.zones[self._link.plant.zones.index(self.zone)].state

    @property
    def known(self) -> object:
        """Equal as long as nothing that is shown of the checks has changed."""
        time, found = self._found.get(self.zone, (0.0, {}))
        everywhere = sum(map(len, self._found.values()))
        return (
            self.zone,
            self.state,
            time,
            len(found),
            everywhere,
            self.unsound,
            id(self.verification),
        )

    def _seen(self, zone: str, loss: Loss | None) -> str:
        """Verdict from the ride as it stood: the calculated one, else that of the check that is
        played, once there is one; "" = none."""
        entry = self._found.get(zone, (0.0, {}))[1].get(loss) if loss else None
        played = self._link.frame.check
        if entry is not None:
            return str(entry["verdict"])
        return played.verdict if played and played[:2] == (zone, loss) else ""

    def _entry(self, loss: Loss) -> tuple[Mapping[str, Any] | None, Mapping[str, Any] | None, str]:
        """Outcome of a loss from the ride as it stood, outcome in the verification, and the state
        injected during."""
        entry = self._found.get(self.zone, (0.0, {}))[1].get(loss)
        state = self.state if entry is None else str(entry["injected_during"])
        known = None
        if self.verification is not None:
            known = verified(self.verification, self.zone, loss, state)
        return entry, None if known is None else outcome_data(loss, known), state

    # what is shown

    @property
    def name_width(self) -> int:
        """Width of the names of the losses [cells]."""
        names = [loss_words(loss) for loss in self.losses_of(self.zone)]
        return max(map(len, names), default=0) + 5

    def rows(self) -> list[LossRow]:
        """The losses of the zone with what is known of them."""
        return [self._row(i, loss) for i, loss in enumerate(self.losses_of(self.zone), 1)]

    def _row(self, number: int, loss: Loss) -> LossRow:
        entry, known, _ = self._entry(loss)
        return LossRow(
            number,
            loss_words(loss),
            self.name_width,
            self._seen(self.zone, loss),
            None if entry is None else entry["reached_after"],
            entry is not None and not entry["detected"],
            "" if known is None else str(known["verdict"]),
            None if known is None else known["reached_after"],
        )

    def head(self, pages: bool) -> Content:
        """What is checked, and what without any fault is wrong; `pages`: the table is a page of
        its own."""
        frame = self._link.frame
        keys = f"z next  k play{'  m table' if pages else ''}"
        title = Content.assemble(
            ("Fail-safe check", "bold"), "  zone ", (self.zone or "–", "bold"),
            f" {self.state}  ", (keys, "$text-muted"), "\n",
        )  # fmt: skip
        if frame.mode == "check":
            line = Content.assemble(
                ("CHECK on a copy of the ride", "$text-accent bold"), " (h: back)\n", frame.note
            )
        else:
            faults = len(frame.faults)
            with_faults = (
                "" if not faults else f", with its {faults} fault{'s' if faults > 1 else ''}"
            )
            line = Content.styled(
                f"On a copy of the ride as it stands{with_faults}.\nCalculated, not certified (i).",
                "$text-muted",
            )
        if self.unsound:
            words = unsound_line([seen for seen, _ in self.unsound])
            line += Content.styled(f"\n{words}", STYLES["unsafe"])
        return title + line

    def detail(self, loss: Loss) -> Content:
        """All about a loss, and the verdicts of every zone."""
        entry, known, state = self._entry(loss)
        circuit = self._link.plant.circuit
        required = circuit.zones.get(self.zone)
        needed = None if required is None else required.requirement.clamping_force
        lines: list[Content] = []
        if self.unsound:
            lines.append(Content.styled(UNSOUND, STYLES["unsafe"]))
            for seen, cause in self.unsound:
                lines += [Content(seen), Content(f"  {cause}")]
            lines.append(Content(""))
        lines += [
            Content.styled(injection_words(Injection(loss)), "bold"),
            *self._here(loss, entry, state, needed),
        ]
        lines.append(Content(""))
        if known is not None:
            lines.append(Content(f"Verification, no fault before, injected in {state}:"))
            lines += outcome_lines(known, needed)
        elif self.verification is None:
            lines.append(Content("Verification: not calculated. v does it, o opens a saved one."))
        else:
            lines.append(Content(f"Verification: it has no case of this loss in {state}."))
        lines += [
            Content(""),
            Content.styled(
                f"What is done: {about(self._trials_of(self.zone)[loss])}", "$text-muted"
            ),
        ]
        if len(self._link.plant.zones) > 1:
            lines += [Content(""), *self._all_zones()]
        return Content("\n").join(lines)

    def _here(
        self, loss: Loss, entry: Mapping[str, Any] | None, state: str, needed: float | None
    ) -> list[Content]:
        """What a loss does to the ride as it stands, as far as it is known."""
        if entry is not None:
            time = self._found[self.zone][0]
            head = Content(f"From the ride at {text.clock(time)}, zone {state}:")
            return [head, *outcome_lines(entry, needed)]
        played = self._link.frame.check
        if played is not None and played[:2] == (self.zone, loss):
            verdict = f"{played.verdict}: " if played.verdict else ""
            words = f"From the ride as it stood, played now: {verdict}{played.progress}"
            return [Content(words), Content("h leads back to the ride.")]
        return [Content("From the ride as it stands: not calculated. k does it.")]

    def _all_zones(self) -> list[Content]:
        """The verdicts of every zone, from this ride and from the verification, loss by loss."""
        losses = [loss.what for loss in self.losses_of(self.zone)]
        wide = min(max(len(name) for name in ("zones", *self._link.plant.zones)), 14)
        numbers = "".join(f"{i:<4}" for i in range(1, len(losses) + 1))
        lines = [
            Content("All zones, this ride/verified, by number:"),
            Content.styled(f"  {'zones':{wide}} {'':8} {numbers}", "bold"),
        ]
        for zone, now in zip(self._link.plant.zones, self._link.frame.zones, strict=True):
            found = self._found.get(zone, (0.0, {}))[1]
            own = {loss.what: loss for loss in self.losses_of(zone)}
            mark = "▸" if zone == self.zone else " "
            parts = [Content(f"{mark} {text.short(zone, wide):{wide}} {now.state:8} ")]
            for loss in map(own.get, losses):
                entry = found.get(loss) if loss else None
                state = now.state if entry is None else str(entry["injected_during"])
                parts += [
                    letter(self._seen(zone, loss)), Content("/"),
                    letter(self._worst.get((zone, loss, state), "")), Content(" "),
                ]  # fmt: skip
            lines.append(Content("").join(parts))
        return lines
