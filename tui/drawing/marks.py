"""What the marks of the drawing mean: the help of the circuit view, and the list beside it."""

from __future__ import annotations

HELP = """\
## Circuit
The compressed-air circuit, drawn from the document: first the plant, then each zone. Air goes to
the right; a drawing too long for the screen goes on in a row below.

| key | what it does |
|---|---|
| arrows, click | choose the nearest component in that direction; a click on `{»}` goes on \
to where it leads |
| `shift`+arrows, wheel | scroll; `home` to the start |
| `z` `Z` | next zone, zone before |
| `/` | find a component by a part of its name; `enter` the next one |
| `c` | bring the chosen component to the middle |
| `o` | open out branches that are drawn as one (×4), or draw them as one again |
| `d` | details of the chosen component, on or off |
| `l` | the marks |
| `escape` | choose nothing |

Branches that are alike are drawn as one, with ×4 behind the name. As soon as one of them differs
they are drawn one by one, and stay so until `o`.

### Lines
| mark | meaning |
|---|---|
| `═══` | charged: half the highest supply pressure or more |
| `━━━` | low: between vented and charged |
| `───` | vented: less than 5 % of the highest supply pressure |
| `┄┄┄` | not seen from this seat |
| `▸` `◂` | air flows there, 5 L/min of free air or more; without: no flow |
| `~` | trapped pressure: no flow path leads out of there now |
| `─│─` | lines that cross without meeting |
| `7.00` | pressure, bar gauge, once for each net |

### Boxes
| mark | meaning |
|---|---|
| `[ ]` `( )` `‹ ›` | device, vessel with its pressure, instrument |
| `{»}` | the line goes on in another drawing: at the zone or component named above |
| `:2` `1a:` | port, where a side has several |
| `[ ■ 1▸2 ]` | solenoid valve: coil commanded ON (`□` OFF), air can pass from 1 to 2; `···` \
moving, `closed` no flow path open, `?` not seen |
| `M` `F` | held by its manual override; forced |
| `[open]` `[CLOSED]` | shut-off valve in service; isolated, its outlet vented |
| `[─▷─]` `[ ▷│]` | check valve open by flow; closed |
| `[set 5.50 ]` `[max 9.50 ]` | regulator and relief valve with their settings |
| `[ - ]` | quick exhaust valve, shuttle valve (OR), dual pressure valve (AND): no flow through it |
| `↑` | air blows off there |
| `(A 5.50)` `(R …)` `(v …)` | accumulator, receiver, drain open |
| `‹G 5.50›` `‹T 5.50›` | gauge, transmitter with its reading |
| `‹>4.50 ●›` | pressure switch and its setting: ON (`○` OFF) |
| `[▐ │ ▌ 3.2 o·]` | jaws, fin, gap of each lining in mm; switches ON: `o` open, `c` closed |
| `[▐███  200.0 r·]` | cylinder, travel in mm; switches ON: `r` retracted, `e` extended |
| `x valve stuck` | failed, and how (trainer's seat) |

A drawing of a calculation: before anyone works on the real system lock out, vent every vessel,
verify zero energy and stay clear of the jaws; local codes and licensed practice come first.
"""

MARKS = (
    ("═══", "charged, {working} bar or more"), ("━━━", "low"),
    ("───", "vented, below {vented} bar"),
    ("┄┄┄", "not seen from here"), ("▸", "air flows"), ("~", "trapped pressure"),
    ("─│─", "crossing, not joined"), ("[ ]", "device"),
    ("( )", "vessel, A accumulator, R receiver"),
    ("‹ ›", "instrument, G gauge, T transmitter"), ("{»}", "goes on in another drawing"),
    ("■ □", "coil commanded ON, OFF"),
    ("1▸2", "flow path open, ··· moving"), ("▷│", "check valve closed"), ("↑", "air blows off"),
    ("● ○", "contact ON, OFF"), ("▐│▌", "jaws on the fin"),
    ("o c", "switch ON: open, closed"), ("M", "manual override"), ("F", "forced"),
    ("v", "drain open"), ("x", "failed"), ("×4", "four alike drawn as one"),
)  # fmt: skip
