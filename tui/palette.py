"""Every act by name, for the command palette (Ctrl+P)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import NamedTuple

from textual.command import DiscoveryHit, Hit, Hits, Provider

from pneumo.live.link import Link
from pneumo.live.plant import Plant
from pneumo.live.request import Check, Do
from pneumo.verification.plan import losses
from tui import sentences
from tui.drilling import under_way
from tui.messages import Ask
from tui.stage import Stage
from tui.widgets.choice import Choice


class Act(NamedTuple):
    """One line of the palette."""

    words: str
    about: str
    sentence: str = ""
    """To be done; "" = an action of the app."""
    action: str = ""


def key_acts(link: Link, titles: Sequence[str]) -> Iterator[Act]:
    """What the keys do, by name; `titles`: the views of the seat."""
    drill = under_way(link) is not None
    for number, title in enumerate(titles, 0 if link.work is not None else 1):
        yield Act(f"show {title}", f"view, key {number}", action=f"open_view('{title}')")
    yield Act("ride stop", "every zone to its safe state, key s", action="ask('stop')")
    yield Act("acknowledge all", "answers every alarm, key a", action="ask('acknowledge')")
    yield Act("reset all", "leaves the faulted state, key r", action="ask('reset')")
    if not drill or link.seat == "trainer":
        yield Act("back to normal", "lists what is needed and does it, key N", action="normal")
    if link.seat == "trainer":
        yield Act("inject a fault", "key f", action="inject")
        if not drill:
            yield Act("undo the last act", "key u", action="ask('undo')")
            yield Act("redo the act", "key U", action="ask('redo')")
            yield Act("fail-safe check", "a loss beside the ride, key k", action="offer('check')")
        yield Act("invite a trainee", "how a second seat joins, key I", action="offer('invite')")
        yield Act("save the situation", "as a scenario or a drill, key w", action="offer('save')")
    if link.keeps_time and drill:
        yield Act("stop or start the clock", "key space", action="ask('run')")
    elif link.keeps_time:
        yield Act("run or pause", "key space", action="ask('run')")
        yield Act("one scan", "of the controller, key .", action="ask('scan')")
        yield Act("next event", "runs to it, key n", action="ask('next event')")
        yield Act("newest instant", "after going back or a check, key h", action="ask('newest')")
        yield Act("slower", "key [", action="ask('slower')")
        yield Act("faster", "key ]", action="ask('faster')")
    yield Act("type a sentence", "key :", action="offer('say')")
    yield Act("help", "key ?", action="offer('help')")
    yield Act("light or dark colours", "", action="other_theme")
    yield Act("leave", "key q", action="leave")


def sentence_acts(link: Link) -> Iterator[Act]:
    """Sentences that the seat may say of the circuit; of faults those of ordinary severity."""
    components = link.plant.circuit.components
    effects = {(name, mode.name): mode.effect
               for name, part in components.items() for mode in part.fault_modes()}  # fmt: skip
    for row, sentence in sentences.every(link.plant, link.frame, link.seat):
        about = row.about
        if row.takes_the_rest:
            _, component, mode = sentence.split()
            about = effects[component, mode]
        yield Act(sentence, about, sentence)


def checks(plant: Plant) -> list[Choice]:
    """The losses that every zone can be checked with."""
    from pneumo.verification.wording import injection_words

    trials = losses(plant.circuit)
    return [
        Choice(zone, Check(zone, trial.injection.loss), injection_words(trial.injection))
        for zone in plant.zones
        for trial in trials
        if trial.zone in (None, zone)
    ]


class Acts(Provider):
    """Finds acts by a part of their words."""

    async def discover(self) -> Hits:
        for act in self._key_acts():
            yield DiscoveryHit(act.words, partial(self._do, act), help=act.about or None)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        words = query.lower().split()
        said = {act.words: act for act in sentence_acts(self._stage.link)}
        for act in (said | {act.words: act for act in self._key_acts()}).values():
            # a plain look first: fuzzy matching of some thousand lines would be felt
            if not all(word[:2] in act.words for word in words):
                continue
            score = matcher.match(act.words)
            if score > 0:
                yield Hit(
                    score,
                    matcher.highlight(act.words),
                    partial(self._do, act),
                    help=act.about or None,
                )

    @property
    def _stage(self) -> Stage:
        return self.screen.query_one(Stage)

    def _key_acts(self) -> Iterator[Act]:
        return key_acts(self._stage.link, self._stage.titles)

    def _do(self, act: Act) -> None:
        if act.sentence:
            self._stage.post_message(Ask(Do(act.sentence)))
        else:
            self.app.call_later(self.app.run_action, act.action)
