"""Names of the rows of ISO 13849-2 Annex A and B that the fault modes answer.

Each constant is "TABLE fault" as in ``tests/reference/iso13849-2_faults.csv``, where the source
and its mark stand; a test holds the two together.
"""

from __future__ import annotations

A5_FORCE = "A.5 force reduction by setting and fracture"
A5_WEAR = "A.5 wear/corrosion"

B3_TIMES = "B.3 change of switching times"
B3_STUCK = "B.3 non-switching (stuck at end/zero position) or incomplete switching (stuck mid-way)"
B3_SPONTANEOUS = "B.3 spontaneous change of initial switching position without input signal"
B3_LEAKAGE = "B.3 leakage"
B3_BURSTING = "B.3 bursting of housing / breakage of moving part / of mounting or housing screws"

B4_STUCK = "B.4 non-opening, incomplete opening, non-closing, incomplete closing"
B4_SPONTANEOUS = "B.4 spontaneous change of initial switching position"
B4_BOTH_INLETS = "B.4 shuttle valve: both inlets closed at once"
B4_LEAKAGE = "B.4 leakage"
B4_BURSTING = "B.4 bursting / breakage of moving part / screws"

B5_FLOW = "B.5 flow change without change of setting"
B5_SETTING = "B.5 spontaneous change of setting device"
B5_BURSTING = "B.5 bursting / breakage of moving part / screws"

B6_NOT_OPENING = "B.6 non-opening or insufficient opening above set pressure"
B6_NOT_CLOSING = "B.6 non-closing or insufficient closing below set pressure"
B6_CHANGED = "B.6 changed pressure control without change of setting"
B6_SETTING = "B.6 spontaneous change of setting device"
B6_LEAKAGE = "B.6 leakage"
B6_BURSTING = "B.6 bursting / breakage of moving part / screws"

B7_LEAKAGE = "B.7 bursting and leakage"
B7_CONNECTOR = "B.7 failure at connector (tear-off, leakage)"
B7_CLOGGING = "B.7 clogging"
B7_KINKING = "B.7 kinking of small plastic pipe"

B8_BURSTING = "B.8 bursting, tear-off at fitting, leakage"
B8_CLOGGING = "B.8 clogging"

B9_BURSTING = "B.9 bursting, breaking of screws, stripping of threads"
B9_LEAKAGE = "B.9 leakage (loss of airtightness)"

B10_TIGHTNESS = "B.10 loss or change of air/oil tightness of chambers"
B10_BURSTING = "B.10 bursting of chambers / fracture of attachment or cover screws"

B11_BLOCKAGE = "B.11 blockage of element"
B11_BURSTING = "B.11 bursting of housing / fracture of cover"

B13_BLOCKAGE = "B.13 blockage"

B14_BURSTING = "B.14 fracture/bursting of vessel, connectors, thread stripping"

B15_FAULTY = "B.15 faulty sensor (capture, processing, output)"
B15_CHANGED = "B.15 changed detection/output characteristic"
