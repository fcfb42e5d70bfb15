"""Drills at Sand Martin, the demo ride."""

from __future__ import annotations

from stories import END, TOOLS, Story, dead, live, off, on

RIDE = "sand_martin"

NORMAL = (
    "Every zone opens and closes within two seconds. Header between 7 and 8.2 bar; trim stands at "
    "4.5 bar, the other zones at 5.5 bar."
)

STORIES = (
    Story(
        "drill_1", "block does not open", RIDE,
        ((0.5, "fault block_valve_a coil-open"),), 2.0, level=1, par=50,
        complaint="Block stays closed. I press open, two seconds later it alarms and nothing has "
        "moved. All other zones work.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("noise", "No air to be heard at block, neither then nor now."),
            ("when", "It opened at the morning test. An hour later it did not."),
            ("weather", "Dry, a little wind."),
        ),
        log_book=(
            "Thu 17:30 fin and cabinet of block hosed down after the rain",
            "Fri 08:10 morning test without remarks",
            "Fri 09:05 thunderstorm over the lake, ride stood for ten minutes",
            "Fri 09:40 block does not open, ride stopped, technician called",
        ),
        hints=(
            "Air comes to valve b, its pilot air too, only through valve a: begin with a.",
            "A valve with voltage at its plug that does not click: measure its coil.",
        ),
        solved=(
            "begin", "ask", "log book", "open block", "cycle block_valve_a.14",
            *dead("feed_a"), "resistance block_valve_a.14", "finding block_valve_a coil-open",
            "replace block_valve_a.14", *live("feed_a"), *END,
        ),
        failed=(
            "begin", "open block", "finding block_valve_b coil-open", *dead("feed_b"),
            "replace block_valve_b.14", *live("feed_b"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "drill_2", "trim does not release", RIDE,
        ((0.5, "close trim"), (2.0, "fault trim_brake_2 jaw-seized")), 4.0, level=2, par=70,
        complaint="Trim is closed and has to come off before the first train. The release alarmed "
        "last night, and nobody has touched it since.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("noise", "It blew off as always when I released it last night."),
            ("smell", "Yes, hot. The last trains came slowly over the hill."),
            ("when", "It has been a little slower each evening this week."),
        ),
        log_book=(
            "Mon 16:30 trim: guards taken off for painting, put on again",
            "Thu 21:45 trim: paint on the fin rubbed off, brown dust under the brakes",
            "Thu 22:00 trim does not release, ride closed for the night",
        ),
        hints=(
            "The alarm names the brake. Is there still air in it?",
            "Without air the springs draw a jaw back, and a bar moves it by hand.",
        ),
        solved=(
            "begin", "ask", "log book", "open trim", "look trim_brake_2", "pry trim_brake_2",
            "finding trim_brake_2 jaw-seized", "block trim_brake_2", "free trim_brake_2",
            "unblock trim_brake_2", *END,
        ),
        failed=(
            "begin", "open trim", "finding trim_hose_2 blocked", *off("trim_shut_off"),
            "drain trim_accumulator open", "wait 5 min", "prove trim_hose_2",
            "replace trim_hose_2", "drain trim_accumulator closed", *on("trim_shut_off"), *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "drill_3", "final_1 after the lunch break", RIDE,
        ((0.5, "open all"), (3.0, "in 20 s: fault final_1_hose_5 burst")), 4.0, level=2, par=95,
        complaint="The ride goes again after lunch. If final_1 plays up as it did this morning, "
        "find out why: it closed by itself with a bang.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("noise", "A bang under the track, then a roar until the zone had closed."),
            ("when", "With all zones open, before the first train."),
            ("train", "No train was near."),
        ),
        log_book=(
            "Wed 11:20 final_1 closed by itself, opened again at the second try",
            "Wed 12:00 hoses of final_1 looked at: 3 to 6 worn at the clamps, to be replaced on "
            "Monday",
        ),
        hints=(
            "A hose that is torn is heard only while air is fed to it.",
            "Hold one of the valves on, cycle the other, and hear where it blows.",
        ),
        solved=(
            "begin", "wait 30 s", "log book", "force final_1_valve_b.14 on",
            "cycle final_1_valve_a.14", "unforce all", "finding final_1_hose_5 burst",
            *off("final_1_shut_off"),
            "drain final_1_accumulator open", "wait 5 min", "prove final_1_hose_5",
            "replace final_1_hose_5", "drain final_1_accumulator closed",
            *on("final_1_shut_off"), *END,
        ),
        failed=(
            "begin", "wait 30 s", "open final_2", "finding final_2_hose_5 burst",
            "replace final_2_hose_5",
        ),
        why=("hurt", "not named", "named too much", "not repaired", "unsafe", "no function test"),
    ),
    Story(
        "after_the_storm", "low supply, and the receiver is full", RIDE,
        ((0.5, "open all"), (4.0, "fault feed_a lost")), 30.0, level=3, par=65,
        complaint="The whole ride has stopped. It says low ride supply, but both compressors stand "
        "still and do nothing. Please look at the compressors.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("compressors", "They ran this morning. Now they are quiet, and nobody switched them "
             "off."),
            ("noise", "A long roar from the plant room, then the alarms, all at once."),
            ("lights", "The lamps in the cabin flickered when the lightning struck."),
        ),
        log_book=(
            "Sat 07:30 oil of compressor 1 topped up",
            "Sat 13:50 lightning near the plant room, lights flickered",
            "Sat 13:51 low ride supply, ride stopped, guests walked off",
        ),
        hints=(
            "Compare the gauges before and behind the soft start.",
            "What else is fed by the same fuse as the soft start? Look at the lamps of the valves.",
        ),
        solved=(
            "begin", "ask", "log book", "look soft_start", "permit", "card soft_start.14",
            "look block_valve_a", "look block_valve_b", "finding feed_a lost",
            *dead("feed_a"), "reconnect feed_a", *live("feed_a"), "wait 2 min", *END,
        ),
        failed=(
            "begin", "ask compressors", "finding compressor_1 stopped and compressor_2 stopped",
            *dead("compressor_1"), "replace compressor_1",
        ),
        why=("hurt", "not named", "named too much", "not repaired", "unsafe",
             "no function test"),
    ),
    Story(
        "creeping_down", "station opens only now and then", RIDE,
        ((0.5, "fault station_regulator drift-low"), (2.0, "open station"), (6.0, "close station")),
        10.0, level=2, par=35,
        complaint="Station opened once this morning. Now it alarms each time: open time exceeded.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("noise", "Nothing unusual."),
            ("when", "Since the cold days it has been worse each morning."),
            ("brakes", "To my eye they do open, and then they clap shut again."),
        ),
        log_book=(
            "Sun 09:00 guests sat for five minutes before station opened",
            "Sun 18:00 station pressure switch checked at the bench: ON at 4.5 bar, in order",
        ),
        hints=(
            "The panel has two gauges for each zone. Compare station with final_1.",
            "Where does the pressure of a zone come from?",
        ),
        solved=(
            "begin", "ask", "log book", "open station", "read station_regulator.2",
            "finding station_regulator drift-low", "adjust station_regulator", *END,
        ),
        failed=(
            "begin", "open station", "finding station_charged drift", "adjust station_charged",
            *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing",
             "function test failed"),
    ),
    Story(
        "longer_stop", "trains stop later in final_2", RIDE,
        ((0.5, "fault final_2_brake_3 lining-worn 1.7 mm"),), 4.0, level=3, par=125,
        complaint="No alarm. But trains come to rest half a metre further in final_2 than in "
        "spring; I have marks on the walkway.",
        normal=f"{NORMAL} Linings of final_2: each ski travels as on the drawing, to 0.5 mm.",
        at_hand=TOOLS,
        answers=(
            ("noise", "It scrapes on one side, about in the middle."),
            ("when", "A little more each week."),
            ("train", "The same with every train."),
        ),
        log_book=(
            "Apr: linings of final_2 renewed at brakes 1, 2, 5 and 6",
            "Jun: linings of final_2 renewed at brake 4",
            "Aug: silencers of final_2 cleaned",
        ),
        hints=(
            "Which brakes of final_2 have old linings?",
            "Linings are measured with callipers, and the jaws are blocked before.",
        ),
        solved=(
            "begin", "ask", "log book",
            "block final_2_brake_7", "callipers final_2_brake_7", "unblock final_2_brake_7",
            "block final_2_brake_8", "callipers final_2_brake_8", "unblock final_2_brake_8",
            "block final_2_brake_3", "callipers final_2_brake_3",
            "finding final_2_brake_3 lining-worn", "reline final_2_brake_3",
            "unblock final_2_brake_3", *END,
        ),
        failed=(
            "begin", "block final_2_brake_3", "callipers final_2_brake_3",
            "unblock final_2_brake_3", "finding final_2_brake_3 lining-worn",
            "reline final_2_brake_3",
        ),
        why=("hurt", "not repaired", "unsafe", "no function test"),
    ),
    Story(
        "nothing_moves", "no zone takes a command", RIDE,
        ((0.5, "open all"), (4.0, "switch off feed_a"), (20.0, "switch on feed_a")), 90.0,
        level=2, par=25,
        complaint="I am new here. Since the lights were out for a moment no zone moves any more, "
        "whatever I press.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("lights", "The cleaner plugged in her machine, a fuse went, the caretaker put it in "
             "again."),
            ("alarms", "A whole list. I did not press anything there, I did not want to break it."),
            ("noise", "It blew off everywhere when the lights went out. Now it is quiet."),
        ),
        log_book=(
            "Tue 10:02 fuse of feed A out, put in again by the caretaker",
            "Tue 10:05 ride does not react, technician called",
        ),
        hints=(
            "What does the controller want before it takes a command after a ride stop?",
            "Not every call ends with a part that is defective.",
        ),
        solved=(
            "begin", "ask", "log book", "acknowledge all", "reset all", "open block",
            "close block", "look soft_start", "finding none", *END,
        ),
        failed=(
            "begin", "open block", "finding feed_a lost", *dead("feed_a"), "reconnect feed_a",
            *live("feed_a"), *END,
        ),
        why=("named too much", "repaired for nothing"),
    ),
    Story(
        "every_now_and_then", "station alarms, and then it is gone", RIDE,
        ((0.5, "in 16 min: fault station_open_2 stuck-off every 35 min for 13 min"),), 4.0, level=5,
        par=60,
        complaint="Station alarms when it opens, four or five times a day. When your colleague "
        "came it had gone each time. He has changed the valves already.",
        normal=NORMAL, at_hand=TOOLS,
        answers=(
            ("brakes", "All of them open, as far as I can see from here."),
            ("when", "For some minutes, then it is good for half an hour."),
            ("rain", "It does not matter whether it rains."),
        ),
        log_book=(
            "Mon 14:10 station: open time exceeded, gone when looked at",
            "Tue 10:30 station: valves a and b replaced",
            "Tue 15:20 station: open time exceeded, gone when looked at",
            "Wed 09:15 cable duct at the station stepped on by a painter, bent back",
        ),
        hints=(
            "The alarm names a switch. Is the brake really not open at that moment?",
            "Hold station open by its two valves and stay there until it comes back.",
        ),
        solved=(
            "begin", "ask", "log book", "open station", "force station_valve_a.14 on",
            "force station_valve_b.14 on", "wait 5 min", "panel", "look station_brake_2",
            "unforce all", "finding station_open_2 stuck-off",
            "permit", "reconnect station_open_2", *END,
        ),
        failed=(
            "begin", "open station", "finding station_brake_2 jaw-dragging",
            "block station_brake_2", "free station_brake_2", "unblock station_brake_2", *END,
        ),
        why=("not named", "named too much", "not repaired", "repaired for nothing"),
    ),
)  # fmt: skip
