"""Drills at Turnstone and Whimbrel, two rides of other layouts."""

from __future__ import annotations

from stories import END, TOOLS, Story, dead, live, off, on

AT_TURNSTONE = (
    "Every zone opens and closes within two seconds. Main between 7 and 8.2 bar, hill at 4.5 bar, "
    "blocks, station and transfer at 5.5 bar."
)
AT_WHIMBREL = (
    "Every zone opens and closes within two seconds. Both headers between 7 and 8.2 bar, pilot air "
    "at 5 bar, blocks, station and park at 5.5 bar. The tie valve is closed."
)

STORIES = (
    Story(
        "hill_is_shy", "neither trim closes", "turnstone",
        ((0.5, "fault hill_regulator drift-low 1.5 bar"),), 4.0, level=3, par=35,
        complaint="Trim 1 and trim 2 alarm when they close: the transmitter reads low. Two "
        "transmitters at once, can that be?",
        normal=AT_TURNSTONE, at_hand=TOOLS,
        answers=(
            ("brakes", "They do close, but the train hardly slows."),
            ("transmitters", "Both were new in spring."),
        ),
        log_book=(
            "Apr: transmitters of both trims renewed",
            "Sat: somebody has been at the cabinet on the hill, the door was open",
        ),
        hints=(
            "Two parts that fail at once seldom do. What do the two trims share?",
            "Look at the gauge of the hill.",
        ),
        solved=(
            "begin", "ask", "log book", "close trim_1", "close trim_2", "panel",
            "read hill_split.3", "finding hill_regulator drift-low", "adjust hill_regulator", *END,
        ),
        failed=(
            "begin", "close trim_1", "finding trim_1_pressure drift and trim_2_pressure drift",
            "adjust trim_1_pressure", "adjust trim_2_pressure", *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "below_nothing", "block_3 opens and alarms", "turnstone",
        ((0.5, "fault block_3_pressure signal-lost"),), 4.0, level=2, par=45,
        complaint="Block 3 opens, alarms after three seconds and closes again.",
        normal=AT_TURNSTONE, at_hand=TOOLS,
        answers=(
            ("brakes", "All six open, I stood beside them."),
            ("panel", "The gauge of block 3 shows something odd, I do not trust it."),
        ),
        log_book=(
            "Thu: cable tray at the final brakes cut free of brambles",
            "Fri: block 3 alarms, valves listened at, both switch",
        ),
        hints=(
            "Can a pressure be as low as the panel says?",
            "A signal of nothing is no pressure of nothing: think of the wire.",
        ),
        solved=(
            "begin", "ask", "log book", "open block_3", "panel", "read block_3_manifold.3",
            "finding block_3_pressure signal-lost", "permit", "reconnect block_3_pressure", *END,
        ),
        failed=(
            "begin", "open block_3", "finding block_3_regulator drift-low",
            "adjust block_3_regulator", *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "bang_at_the_station", "a bang, and station closes", "turnstone",
        ((0.5, "open station"), (2.0, "fault station_brake_3 bladder-burst")), 6.0, level=3,
        par=105,
        complaint="Station stood open, there was a bang, and it closed. No train was in it.",
        normal=AT_TURNSTONE, at_hand=TOOLS,
        answers=(
            ("noise", "One bang, at the far end, where brakes 3 and 4 are."),
            ("hoses", "All of them hang as they should."),
        ),
        log_book=(
            "May: hoses of station renewed, all four",
            "Sep: bladders of brakes 1, 2 and 4 renewed, of 3 none in the store",
        ),
        hints=(
            "Where the air goes is heard only while air comes.",
            "Hold valve b on and cycle valve a. A hose and a bladder are heard at different parts.",
        ),
        solved=(
            "begin", "ask", "log book", "force station_valve_b.14 on", "cycle station_valve_a.14",
            "unforce all", "finding station_brake_3 bladder-burst", *off("station_shut_off"),
            "prove station_brake_3", "block station_brake_3", "replace station_brake_3",
            "unblock station_brake_3", *on("station_shut_off"), *END,
        ),
        failed=(
            "begin", "finding station_brake_3 bladder-burst", *off("station_shut_off"),
            "prove station_brake_3", "replace station_brake_3",
        ),
        why=("hurt", "not repaired", "unsafe", "no function test"),
    ),
    Story(
        "autumn_check", "the stored air of transfer", "turnstone",
        ((0.5, "fault transfer_check_a stuck-open"),), 4.0, level=5, par=95,
        complaint="No complaint. Before the winter please check that transfer holds its train "
        "with the air turned off, and sign for both tanks.",
        normal=f"{AT_TURNSTONE} Either tank of transfer holds the train alone.", at_hand=TOOLS,
        answers=(
            ("alarms", "None. It has been a good season."),
            ("air", "The main was never off since May."),
        ),
        log_book=(
            "May: check of the tanks: both hold",
            "Jul: dust from the building site, filters changed",
        ),
        hints=(
            "While the main is on, both tanks read the same, whatever is wrong.",
            "Turn the air of transfer off and watch the two tanks.",
        ),
        solved=(
            "begin", "log book", "isolate transfer_shut_off", "wait 2 min", "panel",
            "finding transfer_check_a stuck-open", "lock transfer_shut_off",
            "drain transfer_accumulator_b open", "wait 5 min", "prove transfer_check_a",
            "replace transfer_check_a", "drain transfer_accumulator_b closed",
            *on("transfer_shut_off"), "isolate transfer_shut_off", "wait 2 min", "panel",
            "restore transfer_shut_off", *END,
        ),
        failed=(
            "begin", "isolate transfer_shut_off", "finding transfer_check_a stuck-open",
            "lock transfer_shut_off", "prove transfer_check_a", "replace transfer_check_a",
            *on("transfer_shut_off"), *END,
        ),
        why=("unsafe",),
    ),
    Story(
        "way_out", "the exit gates stay shut", "whimbrel",
        ((0.5, "fault exit_gate_valve coil-open"),), 4.0, level=1, par=50,
        complaint="The exit gates do not open. Guests leave through the boarding gates.",
        normal=AT_WHIMBREL, at_hand=TOOLS,
        answers=(
            ("noise", "Nothing. The boarding gates hiss as always."),
            ("when", "Since the summer party; somebody spilled a drink at the cabinet."),
        ),
        log_book=("Sat: summer party at the exit", "Sun: exit gates do not open"),
        hints=(
            "One valve moves both exit gates. Does it switch?",
            "There is voltage and no click: measure the coil.",
        ),
        solved=(
            "begin", "ask", "open exit_gates", "look gate_5", "close exit_gates",
            "cycle exit_gate_valve.14", *dead("feed_b"), "resistance exit_gate_valve.14",
            "finding exit_gate_valve coil-open", "replace exit_gate_valve.14", *live("feed_b"),
            *END,
        ),
        failed=(
            "begin", "open exit_gates", "finding gate_5 seized and gate_6 seized",
            "function test", "hand back",
        ),
        why=("not named", "named too much", "not repaired", "function test failed"),
    ),
    Story(
        "second_plant", "half of the ride", "whimbrel",
        ((0.5, "fault pilot_regulator_2 drift-low 3 bar"),), 4.0, level=4, par=35,
        complaint="The front half of the ride is in order. Block 3, block 4 and station do not "
        "open. The header of plant 2 is full.",
        normal=AT_WHIMBREL, at_hand=TOOLS,
        answers=(
            ("noise", "I hear valves switch at the blocks, but not all of them."),
            ("when", "Since the plant rooms were painted."),
        ),
        log_book=(
            "Mon, Tue: plant rooms painted, hand wheels taken off and put on again",
            "Wed: compressor 2 serviced",
        ),
        hints=(
            "Each of these zones has two valves. Which sort does not switch?",
            "The dump valves have pilot air of their own.",
        ),
        solved=(
            "begin", "ask", "log book", "open block_3", "panel", "cycle block_3_dump.14",
            "read pilot_line_2.2",
            "finding pilot_regulator_2 drift-low", "adjust pilot_regulator_2", *END,
        ),
        failed=(
            "begin", "open block_3", "cycle block_3_dump.14", "finding block_3_dump stuck-rest",
            "replace block_3_dump",
        ),
        why=("hurt", "not named", "named too much", "not repaired", "unsafe",
             "no function test"),
    ),
    Story(
        "quiet_dump", "before the inspection", "whimbrel",
        ((0.5, "fault block_4_dump stuck-actuated"),), 4.0, level=4, par=135,
        complaint="The inspector comes tomorrow and will want to see each valve of block 4 vent "
        "alone. Please try it today.",
        normal=f"{AT_WHIMBREL} Either valve of a block vents it alone.", at_hand=TOOLS,
        answers=(
            ("noise", "Block 4 is quieter than block 3 when it closes."),
            ("alarms", "None."),
        ),
        log_book=(
            "Mar: block 3 and block 4: valves tried alone, in order",
            "Aug: block 4: water in the pilot line, blown out",
        ),
        hints=(
            "Cycle the same valve of two blocks, and compare.",
            "A valve that is not heard stands somewhere: where, if the block opens and closes?",
        ),
        solved=(
            "begin", "log book", "open block_4", "close block_4", "cycle block_3_dump.14",
            "cycle block_4_dump.14", "finding block_4_dump stuck-actuated",
            *off("block_4_shut_off"), "drain block_4_accumulator open",
            *off("main_shut_off_2"), "lock tie_valve", *dead("feed_b"),
            "fit gauge block_4_dump.1", "prove block_4_dump", "replace block_4_dump",
            *live("feed_b"), "unlock tie_valve", *on("main_shut_off_2"),
            "drain block_4_accumulator closed", *on("block_4_shut_off"), "cycle block_4_dump.14",
            *END,
        ),
        failed=("begin", "open block_4", "close block_4", "finding none", *END),
        why=("not named", "not repaired"),
    ),
    Story(
        "never_rests", "compressor 1 never rests", "whimbrel",
        ((0.5, "fault block_1_accumulator leak 2 mm"), (0.6, "fault block_2_open_4 stuck-off")),
        4.0, level=5, par=95,
        complaint="Compressor 1 comes in every few minutes, also at night. And block 2 alarms "
        "when it opens.",
        normal=AT_WHIMBREL, at_hand=TOOLS,
        answers=(
            ("noise", "It hisses around the blocks of the front half."),
            ("brakes", "Those of block 2 open, I think."),
        ),
        log_book=(
            "Mon: drain cocks of blocks 1 to 4 cleaned",
            "Tue: deer on the track at block 2, chased away",
        ),
        hints=(
            "A leak and an alarm: two complaints, perhaps two faults.",
            "Go along the front half and listen; the alarm names its switch.",
        ),
        solved=(
            "begin", "ask", "log book", "open block_2", "listen block_2_accumulator",
            "listen block_1_accumulator", "force block_2_impulse.14 on",
            "force block_2_dump.14 on", "look block_2_brake_4", "panel", "unforce all",
            "finding block_1_accumulator leak and block_2_open_4 stuck-off",
            "permit", "reconnect block_2_open_4", *off("block_1_shut_off"),
            "drain block_1_accumulator open", "wait 5 min", "prove block_1_accumulator",
            "refit block_1_accumulator", "drain block_1_accumulator closed",
            *on("block_1_shut_off"), *END,
        ),
        failed=(
            "begin", "listen block_1_accumulator", "finding block_1_accumulator leak",
            "refit block_1_accumulator",
        ),
        why=("hurt", "not named", "not repaired", "unsafe", "no function test"),
    ),
)  # fmt: skip
