"""Drills at the teaching circuits."""

from __future__ import annotations

from stories import END, TOOLS, Story, dead, live, off, on

STORIES = (
    Story(
        "monday_morning", "late after the winter", "02_spring_close_single",
        ((0.5, "open block"), (1.0, "fault silencer blocked 98 %"), (15.0, "close block")), 20.0,
        level=1, par=55,
        complaint="First day after the winter. Block opens well, but it closes late and alarms.",
        normal="Block closes within a second. Line at 5.5 bar.", at_hand=TOOLS,
        answers=(
            ("noise", "It used to blow off with a crack. Now it is a long sigh."),
            ("opening", "As always."),
        ),
        log_book=(
            "Oct: ride put to bed, valves oiled",
            "Mar: roof above the valve cabinet sanded down and painted",
        ),
        hints=(
            "It opens in time, so the air comes in well. Which way does it go out?",
            "Look at what the air goes out through.",
        ),
        solved=(
            "begin", "ask", "acknowledge block", "reset block", "open block", "close block",
            "look silencer", "finding silencer blocked", *off("main"), "prove silencer",
            "clean silencer", *on("main"), *END,
        ),
        failed=(
            "begin", "look silencer", "finding silencer blocked", "clean silencer",
            "function test", "hand back",
        ),
        why=("unsafe",),
    ),
    Story(
        "open_says_closed", "opens and claps shut again", "02_spring_close_single",
        ((0.5, "fault charged drift 1.2 bar"), (1.0, "open block")), 8.0, level=2, par=40,
        complaint="Block opens, stands open for three seconds, alarms and claps shut. Each time.",
        normal="Block opens within a second and stays open. Line at 5.5 bar.", at_hand=TOOLS,
        answers=(
            ("brakes", "Both of them open wide, I have looked."),
            ("when", "Since your colleague was here for the yearly service."),
        ),
        log_book=(
            "Thu yearly service: brakes greased, pressure switch taken off, dusted and set by hand",
            "Fri block alarms, ride stopped",
        ),
        hints=(
            "The alarm says what is missing. Both brakes are open: what else has to agree?",
            "Hold the zone open, and compare a gauge with the switch on the panel.",
        ),
        solved=(
            "begin", "ask", "log book", "force valve.14 on", "look brake_1", "read manifold.1",
            "unforce all", "finding charged drift", "adjust charged", *END,
        ),
        failed=(
            "begin", "finding valve slow", *off("main"), *dead("feed"), "prove valve",
            "replace valve", *live("feed"), *on("main"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "monthly_check", "the monthly check of the valves", "12_vent_check",
        ((0.5, "fault valve_b stuck-actuated"),), 8.0, level=3, par=100,
        complaint="Nothing to complain about. It is the first of the month: please check the "
        "valves of block, and sign.",
        normal="Block opens and closes within a second. Each of its two valves vents it alone.",
        at_hand=TOOLS,
        answers=(
            ("noise", "Fine. Perhaps a little quieter than last month when it closes."),
            ("alarms", "None all month."),
        ),
        log_book=(
            "1st of last month: valves checked, both switch",
            "12th: water found in the line, main drained",
        ),
        hints=(
            "Two valves that do the same hide each other. Try each of them alone.",
            "One of them is heard to switch, the other is not. Where does it stand?",
        ),
        solved=(
            "begin", "log book", "open block", "close block", "cycle valve_b.14",
            "cycle valve_a.14", "finding valve_b stuck-actuated", *off("main"), *dead("feed_b"),
            "prove valve_b", "replace valve_b", *live("feed_b"), *on("main"), "cycle valve_b.14",
            *END,
        ),
        failed=("begin", "open block", "close block", "finding none", *END),
        why=("not named", "not repaired"),
    ),
    Story(
        "second_gate", "one gate stays shut", "10_station_gates",
        ((0.5, "fault cap_flow_2 blocked"),), 4.0, level=2, par=90,
        complaint="Gate 1 opens, gate 2 does not move. Guests have to climb over from row 1.",
        normal="Both gates open and close within three seconds. Line at 5 bar.", at_hand=TOOLS,
        answers=(
            ("force", "I can push gate 2 open by hand when the air is off."),
            ("noise", "Nothing at gate 2, not even a hiss."),
        ),
        log_book=(
            "Tue: gate 2 pushed by a guest, gate straightened",
            "Wed: air was off for work on the main, much rust blew out",
        ),
        hints=(
            "Is there air at the cylinder of gate 2 when the gates are told to open?",
            "The two gates share everything but their own flow controls.",
        ),
        solved=(
            "begin", "ask", "open station_gates", "look gate_2", "read opening.1",
            "close station_gates", *off("main"), "fit gauge gate_2.cap", *on("main"),
            "open station_gates", "read gate_2.cap", "close station_gates",
            "finding cap_flow_2 blocked", *off("main"), "prove cap_flow_2", "clean cap_flow_2",
            *on("main"), *END,
        ),
        failed=(
            "begin", "open station_gates", "finding gate_2 seized", *off("main"), "prove gate_2",
            "free gate_2", *on("main"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "both_at_once", "both zones at once", "08_pilot_supply",
        ((0.5, "open block"), (2.0, "fault pilot_air lost")), 12.0, level=3, par=85,
        complaint="Both zones alarmed at the same second: pressure lost while charged. But there "
        "is air: I read 5.5 bar at the header.",
        normal="Line at 5.5 bar, pilot air at 5 bar.", at_hand=TOOLS,
        answers=(
            ("noise", "Both blew off together."),
            ("pressure", "5.5 bar, the needle did not move."),
        ),
        log_book=(
            "Sat: blue line behind the cabinet moved for the new cable",
            "Sat: main shut-off greased",
        ),
        hints=(
            "What do the two valves share besides the header?",
            "A pilot-operated valve needs more than its coil.",
        ),
        solved=(
            "begin", "ask", "cycle block_valve.14",
            "read header.1", "read pilot_line.1", "finding pilot_air lost",
            *dead("pilot_air"), "prove pilot_air", "replace pilot_air", *live("pilot_air"), *END,
        ),
        failed=(
            "begin", "cycle block_valve.14", "finding block_valve stuck", *off("main"),
            *dead("feed", "pilot_air"), "prove block_valve", "replace block_valve",
            *live("pilot_air", "feed"), *on("main"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "two_complaints", "closed, but it says it moves", "03_redundant_series_valves",
        ((0.5, "fault hose_2 leak 2 mm"), (0.6, "fault closed_1 stuck-off")), 8.0, level=4, par=85,
        complaint="Block alarms: uncommanded movement. It stands closed, I can see it. And since "
        "yesterday it hisses when it is open.",
        normal="Block opens and closes within a second. Line at 5.5 bar.", at_hand=TOOLS,
        answers=(
            ("noise", "Only while it is open, somewhere low. Closed it is quiet."),
            ("brakes", "Both of them closed."),
        ),
        log_book=(
            "Thu: mice in the cabinet, traps set",
            "Fri: brake 2 taken down for painting and put on again",
        ),
        hints=(
            "There are two complaints. Do not stop at the first that you can explain.",
            "What hisses is heard only while there is air in it: hold both valves on.",
        ),
        solved=(
            "begin", "ask", "look brake_1", "force valve_a.14 on", "force valve_b.14 on",
            "listen manifold", "listen hose_2", "unforce all",
            "finding closed_1 stuck-off and hose_2 leak", "permit", "reconnect closed_1",
            *off("main"), "prove hose_2", "refit hose_2", *on("main"), *END,
        ),
        failed=(
            "begin", "look brake_1", "finding closed_1 stuck-off", "permit", "reconnect closed_1",
            *END,
        ),
        why=("not named", "not repaired"),
    ),
    Story(
        "in_the_night", "released in the morning", "04_stored_air_behind_check",
        ((0.5, "fault check stuck-open"), (2.0, "isolate main"), (60.0, "restore main")), 90.0,
        level=4, par=95,
        complaint="We turn the main off in the evening. Storage should hold its train until the "
        "morning, and it did for years. Three mornings now it stood released, with alarms.",
        normal="Storage holds for a night with the main off. Line and accumulator at 6 bar.",
        at_hand=TOOLS,
        answers=(
            ("noise", "A short blow when the main is turned off. It was not there before."),
            ("when", "Since the compressor was changed."),
        ),
        log_book=(
            "Mon: new compressor, line blown through",
            "Tue, Wed, Thu 07:00: storage released, alarms latched",
            "Wed: all hoses of storage soaped, tight",
        ),
        hints=(
            "With the main on, is any air lost? Then where could it go with the main off?",
            "The main vents the line when it is turned off. What keeps the stored air out of it?",
        ),
        solved=(
            "begin", "ask", "log book", "decay accumulator.1 for 5 min", "listen accumulator",
            "isolate main", "read accumulator.1", "finding check stuck-open", "lock main",
            "prove check", "replace check", *on("main"), "acknowledge all", "reset all", *END,
        ),
        failed=(
            "begin", "finding accumulator leak", *off("main"), "prove accumulator",
            "refit accumulator", *on("main"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing"),
    ),
    Story(
        "it_hisses", "it hisses all day", "11_dual_pressure",
        ((0.5, "fault valve_a internal-leak"),), 8.0, level=2, par=100,
        complaint="Block works. But it hisses in the cabinet, block open or closed, and the "
        "compressor never rests.",
        normal="Nothing is to be heard unless block opens or closes. Line at 5.5 bar.",
        at_hand=TOOLS,
        answers=(
            ("noise", "A steady hiss, day and night."),
            ("when", "For about a week."),
        ),
        log_book=(
            "Mon: silencer a renewed because of the hiss, no change",
            "Wed: joints of the manifold soaped, tight",
        ),
        hints=(
            "Where exactly does the air come out?",
            "A silencer hisses only when something lets air into it.",
        ),
        solved=(
            "begin", "ask", "log book", "listen silencer_a", "listen silencer_b", "open block",
            "listen silencer_a", "close block", "finding valve_a internal-leak", *off("main"),
            *dead("feed_a"), "prove valve_a", "replace valve_a", *live("feed_a"), *on("main"),
            "listen silencer_a", *END,
        ),
        failed=(
            "begin", "listen silencer_a", "finding silencer_a leak", *off("main"),
            "prove silencer_a", "refit silencer_a", *on("main"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing"),
    ),
)  # fmt: skip
