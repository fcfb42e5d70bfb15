"""No document whatever gives anything but a circuit or a list of findings."""

from __future__ import annotations

import random

import yaml
from circuit_sample import SAMPLE
from hypothesis import given, settings
from hypothesis import strategies as st

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.document import decoded
from pneumo.circuit.graph import single_points
from pneumo.circuit.validate import load_text
from pneumo.components import KINDS
from pneumo.errors import DocumentError
from pneumo.harmless import first_acting


def judged(text: str) -> Circuit | None:
    """The circuit, or None with findings that are fit to be printed."""
    try:
        circuit = load_text(text, "x.yaml")
    except DocumentError as error:
        assert any(finding.level == "error" for finding in error.findings)
        for finding in error.findings:
            assert finding.found and finding.line >= 0
            assert first_acting(str(finding)) < 0, repr(str(finding))
            assert len(str(finding)) < 2000
        return None
    for zone in circuit.zones:
        single_points(circuit, zone)
        circuit.zone_spring(zone)
    return circuit


@given(st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    try:
        text = decoded(data, "x.yaml")
    except DocumentError as error:
        assert error.findings
    else:
        judged(text)


@given(st.text(max_size=300))
def test_any_text(text: str) -> None:
    judged(text)


WORDS = st.sampled_from(
    [
        *["ride", "ambient", "components", "connections", "zones", "gates", "scenarios"],
        *["kind", "ports", "volume", "b", "C", "of", "reads", "feed", "brakes", "outputs"],
        *["about", "until", "events", "limits", "requirement", "within", "safe_state", "name"],
        *["a", "a_{1..3}", "a_{1..9999}", "a.1", "a.{1..2}", "{", "1 L", "-1 L", "nan", "50 %"],
        *["a.1 -> b.1", "a.{1..2} -> plug", "->", "at 1 s", "close all", "fault a leak", "\x85"],
        *["open", "closed", "charge", "all", "", "no", "1e400 bar", "6,2 bar", "é", "\u2028"],
        *KINDS,
    ]
)
SCALARS = WORDS | st.text(max_size=12)
TREES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(SCALARS, inner, max_size=5),
    max_leaves=25,
)
FIELDS = sorted(
    {field for model in KINDS.values() for field in model.model_fields if field != "kind"}
)
COMPONENTS = st.dictionaries(
    st.sampled_from(["a", "b", "c_{1..2}", "d"]),
    st.fixed_dictionaries(
        {"kind": st.sampled_from(sorted(KINDS))},
        optional=dict.fromkeys(FIELDS, SCALARS),
    )
    | TREES,
    max_size=4,
)
SECTIONS = st.fixed_dictionaries(
    {"ride": st.just({"name": "Sand Martin"}) | TREES, "components": COMPONENTS},
    optional={
        "ambient": TREES,
        "connections": st.lists(SCALARS, max_size=4) | TREES,
        "zones": st.dictionaries(SCALARS, TREES, max_size=2),
        "gates": st.dictionaries(SCALARS, TREES, max_size=2),
        "verification": TREES,
        "scenarios": st.dictionaries(SCALARS, TREES, max_size=2),
    },
)


@given(TREES)
def test_any_tree(tree: object) -> None:
    judged(yaml.safe_dump(tree, allow_unicode=True))


@settings(max_examples=150)
@given(SECTIONS)
def test_any_sections(tree: object) -> None:
    judged(yaml.safe_dump(tree, allow_unicode=True, sort_keys=False))


LINES = SAMPLE.splitlines(keepends=True)
PIECES = st.sampled_from([*SAMPLE.split(), "{1..2}", "{1..501}", "\t", ": ", "- ", "[", "{", "&a"])


@settings(max_examples=300)
@given(
    st.lists(
        st.tuples(st.integers(0, len(SAMPLE)), st.integers(0, 12), PIECES | st.text(max_size=4)),
        min_size=1,
        max_size=4,
    )
)
def test_any_slip_of_the_pen_in_a_sound_document(slips: list[tuple[int, int, str]]) -> None:
    text = SAMPLE
    for start, length, piece in slips:
        text = text[:start] + piece + text[start + length :]
    judged(text)


@settings(max_examples=150)
@given(st.randoms(use_true_random=False), st.integers(1, 4))
def test_any_lines_lost_doubled_or_moved(rng: random.Random, times: int) -> None:
    lines = list(LINES)
    for _ in range(times):
        line = lines.pop(rng.randrange(len(lines)))
        for _ in range(rng.choice((0, 1, 2))):
            lines.insert(rng.randrange(len(lines)), line)
    judged("".join(lines))


@settings(max_examples=150)
@given(st.data())
def test_any_value_in_place_of_another(data: st.DataObject) -> None:
    tree = yaml.load(SAMPLE, Loader=yaml.BaseLoader)
    node = tree
    while True:
        keys = list(node) if isinstance(node, dict) else list(range(len(node)))
        key = data.draw(st.sampled_from(keys))
        inner = node[key]
        if not isinstance(inner, (dict, list)) or not inner or data.draw(st.booleans()):
            break
        node = inner
    node[key] = data.draw(TREES)
    judged(yaml.safe_dump(tree, allow_unicode=True, sort_keys=False))


def test_the_fuzzed_sample_itself_is_sound() -> None:
    assert judged(SAMPLE) is not None
