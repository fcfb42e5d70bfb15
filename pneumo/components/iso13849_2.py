"""Rows of ISO 13849-2, Annexes A and B, that the fault modes answer.

Each constant is "ROW fault": the table, the number within it and our own words for the fault, as in
``tests/reference/faults_to_consider.csv``, where the source and its mark stand; a test holds the
two together.
"""

from __future__ import annotations

SOURCE = "ISO 13849-2:2003, superseded by 2012"
"""The edition whose rows are meant, as reports cite it."""

A5_WEAK = "A.5-2 loses force or breaks"
A5_WORN = "A.5-1 wears or rusts"

B3_SLOW = "B.3-1 switches slower or faster than it should"
B3_STUCK = "B.3-2 does not switch, or stops part way"
B3_UNTOLD = "B.3-3 switches without a command"
B3_LEAKS = "B.3-4 leaks when closed, or outwards"
B3_BREAKS = "B.3-6 housing, moving part or fixing breaks"

B4_STUCK = "B.4-2 does not open or close, or only in part"
B4_UNTOLD = "B.4-3 changes over without cause"
B4_BOTH_SHUT = "B.4-4 shuttle valve: both inlets closed together"
B4_LEAKS = "B.4-5 leaks when closed, or outwards"
B4_BREAKS = "B.4-7 housing, moving part or fixing breaks"

B5_FLOW = "B.5-1 flow alters though the setting was not touched"
B5_SETTING = "B.5-4 setting moves by itself"
B5_BREAKS = "B.5-6 housing, moving part or fixing breaks"

B6_TOO_SHUT = "B.6-1 does not open enough above its setting"
B6_TOO_OPEN = "B.6-2 does not close enough below its setting"
B6_SHIFTED = "B.6-3 holds another pressure though the setting was not touched"
B6_SETTING = "B.6-5 setting moves by itself"
B6_LEAKS = "B.6-7 leaks"
B6_BREAKS = "B.6-9 housing, moving part or fixing breaks"

B7_LEAKS = "B.7-1 bursts or leaks"
B7_JOINT = "B.7-2 joint pulls out or leaks"
B7_BLOCKED = "B.7-3 blocked by dirt"
B7_KINKED = "B.7-4 thin plastic tube kinks"

B8_BREAKS = "B.8-1 bursts, pulls out of its fitting or leaks"
B8_BLOCKED = "B.8-2 blocked"

B9_BREAKS = "B.9-1 breaks, its screws or thread give way"
B9_LEAKS = "B.9-2 leaks"

B10_LEAKS = "B.10-1 its chamber leaks, or leaks more"
B10_BREAKS = "B.10-2 chamber or fixing breaks"

B11_BLOCKED = "B.11-1 element blocked"
B11_BREAKS = "B.11-4 housing or cover breaks"

B13_BLOCKED = "B.13-1 blocked"

B14_BREAKS = "B.14-1 vessel, connection or thread breaks"

B15_WRONG = "B.15-1 wrong or no signal"
B15_SHIFTED = "B.15-2 its switching point or curve shifts"
