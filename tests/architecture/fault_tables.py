"""Which test holds which row of the three fault tables, the link's, the box's and the tile's.

`scenario` names one that comes with the program, which tests/scenarios plays in memory, or
tests/processes/test_practice_scenario.py where it needs processes; everything else is a test by its
file and name. Every row is played. `test_fault_tables` keeps this honest.
"""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCENARIO = "scenario "


def scenario(name):
    return SCENARIO + name


def scenarios(*names):
    return tuple(map(scenario, names))


FAULTS, TABLE = "tests/rig/test_faults.py::", "tests/rig/test_fault_table.py::"
OPENING, ETCH, BOX = (
    "tests/rig/test_opening.py::",
    "tests/rig/test_etch.py::",
    "tests/rig/test_box.py::",
)
SINGLE, GUARD = "tests/rig/test_single_faults.py::", "tests/etchdaemon/test_guard.py::"
RELAY = "tests/rig/test_safety_relay.py::"
FROZEN = "tests/etchdaemon/test_interlocks_frozen.py::"
PINS = "tests/etchdaemon/test_box_recalled.py::"
ARMING = "tests/etchdaemon/test_interlocks_arming.py::"
ATTENDANCE = "tests/etchdaemon/test_interlocks_attendance.py::"
FLAME = "tests/etchdaemon/test_interlocks_flame.py::"
TRIPS = "tests/etchdaemon/test_interlocks_trips.py::"
ALERTS, PEOPLE = "tests/etchweb/test_alerts.py::", "tests/rig/test_people_called.py::"
LOGBOOK = "tests/etchdaemon/test_logbook.py::"
CONFIGURATION = "tests/etchdaemon/test_configuration.py::"
PORT = "tests/etchdaemon/test_hardware_port.py::"
LINK = "tests/processes/test_link_faults.py::"
LINK_IN_MOTION = LINK + "test_a_cable_pulled_in_motion_comes_back_under_the_same_name_or_another"
LINK_AT_REST = LINK + "test_a_cable_pulled_at_rest_comes_back_under_the_same_name_or_another"
_EVERY = TABLE + "test_a_fault_ends_the_run_in_the_dark_and_the_next_one_needs_no_restart"

LINK_FAULTS = {
    "unplugged in motion": (scenario("serial_unplugged_in_motion"), _EVERY),
    "unplugged at rest": (scenario("serial_unplugged_at_rest"), LINK_AT_REST),
    "origin after a power cut": (
        *scenarios("stale_origin_reentry", "stale_origin_armed", "stale_origin_fresh_job"),
        "tests/rig/test_origin.py::test_a_power_cut_of_any_length_loses_the_origin",
    ),
    "unplugged in a jog": (scenario("stale_origin_in_jog"),),
    "unplugged while opening": (
        scenario("serial_unplugged_while_opening"),
        OPENING + "test_a_machine_unplugged_while_it_is_opened_is_opened_again",
    ),
    "comes back under the same name": (
        scenario("serial_comes_back_under_same_name"),
        "tests/processes/test_daemon.py::test_a_cable_pulled_and_put_back_needs_no_restart",
        LINK_IN_MOTION,
        LINK_AT_REST,
    ),
    "comes back under another name": (
        scenario("serial_comes_back_under_another_name"),
        LINK_IN_MOTION,
        LINK_AT_REST,
        PORT + "test_a_link_is_followed_anew_at_every_opening",
    ),
    "controller reset in mid-run": (scenario("controller_reset_in_mid_run"), _EVERY),
    "greeting twice": (scenario("controller_greets_twice"),),
    "brown-out": (scenario("supply_dips"),),
    "silent controller": (
        *scenarios("controller_falls_silent", "controller_hangs"),
        TRIPS + "test_a_controller_that_does_not_obey_stops_the_heartbeat_until_the_reset",
    ),
    "report but no reply": scenarios("no_line_is_answered", "reply_lost"),
    "extra reply": (scenario("reply_too_many"),),
    "error for one line": (
        *scenarios("line_refused_8_bit", "line_refused_32_bit"),
        FAULTS + "test_lines_behind_a_refused_one_do_not_burn",
    ),
    "sticky errors of the 32-bit firmware": (
        scenario("line_refused_32_bit"),
        TABLE
        + "test_on_the_32_bit_firmware_lines_behind_a_refused_one_come_back_refused_and_count_once",
    ),
    "each alarm": (
        scenario("alarm"),
        TABLE + "test_every_alarm_puts_the_beam_out_and_says_what_it_means",
    ),
    "door pin": (scenario("door_pin_opens"),),
    "pause word in a file": (
        *scenarios("pause_word_in_the_file", "line_becomes_a_pause"),
        FAULTS + "test_a_pause_in_the_job_ends_the_run",
    ),
    "garbled byte in a line": (
        scenario("line_garbled"),
        FAULTS + "test_a_damaged_line_in_a_row_is_found_when_the_etch_is_held_at_its_end",
        FAULTS + "test_a_line_damaged_into_a_long_way_is_found_as_soon_as_the_head_is_astray",
        FAULTS + "test_a_row_led_to_another_place_in_the_picture_is_found_before_its_end",
        FAULTS + "test_what_no_report_can_show_of_a_damaged_line_reaches_no_further_than_its_row",
    ),
    "garbled byte in a reply": (scenario("reply_garbled"),),
    "1 000 random bytes at any time": (
        scenario("random_bytes"),
        FAULTS + "test_a_thousand_random_bytes_at_rest_disturb_nothing_for_long",
        FAULTS + "test_a_thousand_random_bytes_while_the_port_is_opened_only_delay_it",
    ),
    "replies delayed 50 ms to 5 s": scenarios("replies_a_little_late", "replies_five_seconds_late"),
    "host paused for 5 s": (
        scenario("daemon_stopped_for_five_seconds"),
        FAULTS + "test_a_daemon_that_was_stopped_for_five_seconds_goes_on_where_it_was",
        LINK
        + "test_a_daemon_halted_for_five_seconds_says_so_once_and_the_box_had_put_the_beam_out",
        "tests/rig/test_guarded_link.py::test_a_daemon_that_stood_still_is_one_cause_and_one_trip_to_reset",
    ),
    "machine at 57600 baud": (
        scenario("machine_at_57600_baud"),
        TABLE + "test_a_machine_at_half_the_baud_rate_is_no_fault",
    ),
    "port of another machine, with the practice machine's folder": (
        scenario("foreign_port_in_practice"),
        PORT + "test_beside_simulated_contacts_only_the_practice_machines_own_port_is_opened",
    ),
    "port taken by another program": (
        scenario("port_taken_by_another_program"),
        OPENING + "test_a_port_in_use_by_another_program_is_told_of_and_taken_when_it_is_free",
    ),
    "wrong device on the port": (
        *scenarios("modem_on_the_port", "receiver_on_the_port"),
        OPENING + "test_another_device_on_the_port_is_never_taken_for_the_machine",
        "tests/processes/test_wrong_device.py::test_another_device_is_told_of_and_the_machine_taken_in_its_place",
    ),
    "wall clock jumps by a year": (
        scenario("wall_clock_jumps"),
        ETCH + "test_a_wall_clock_that_jumps_by_a_year_disturbs_nothing",
    ),
    "write blocks": (
        scenario("port_takes_nothing_more"),
        PORT + "test_a_port_that_takes_no_more_is_lost",
        PORT + "test_of_a_port_that_takes_nothing_at_all_nobody_says_that_the_cable_is_out",
    ),
    "disk full for the log": (
        scenario("card_fills_up"),
        ETCH + "test_an_etch_goes_on_and_people_are_told_when_the_logbook_fills_its_disk",
        LOGBOOK + "test_on_a_full_disk_the_etch_goes_on_people_are_told_and_nothing_is_lost",
    ),
    "logbook damaged at start": (
        scenario("logbook_damaged_at_start"),
        LOGBOOK + "test_a_damaged_logbook_is_told_about_in_the_new_one",
    ),
}

BOX_FAULTS = {
    "lid contact stuck safe": (scenario("lid_contact_sticks_closed"),),
    "air flow stuck safe": (scenario("air_sticks_closed"),),
    "loop stuck safe": (scenario("loop_closed_at_rest"),),
    "arm button stuck or bridged": (
        *scenarios("arm_button_sticks_closed", "button_bridged"),
        ARMING + "test_a_button_that_is_bridged_is_found_and_nothing_is_armed",
    ),
    "arm button: a spark or a loose wire": (
        scenario("arm_button_chatters"),
        ARMING + "test_a_press_lasts_a_tenth_of_a_second_at_least",
        ARMING + "test_two_samples_that_bridge_a_release_are_no_press",
    ),
    "stuck unsafe: lid": scenarios("lid_sticks_open", "lid_second_sticks_open"),
    "stuck unsafe: stop circuit": (scenario("stop_button"),),
    "stuck unsafe: flame": (scenario("flame"),),
    "a flame that flickers, where it has to be confirmed": (
        scenario("flame_flickers"),
        FLAME + "test_a_second_edge_within_ten_seconds_is_an_emergency",
        FLAME + "test_a_flame_that_is_seen_for_as_long_as_that_is_an_emergency",
    ),
    "no flame detector": (
        scenario("no_flame_detector"),
        ATTENDANCE + "test_a_run_without_a_flame_detector_asks_for_somebody_every_twenty_minutes",
        ATTENDANCE
        + "test_unattended_runs_need_loop_extraction_proven_air_flame_detector_and_heartbeat",
    ),
    "stuck unsafe: air flow": scenarios("air_sticks_open", "air_input_lost_in_mid_run"),
    "stuck unsafe: temperature": (scenario("too_hot"),),
    "stuck unsafe: loop": scenarios("loop_stays_open", "loop_lost_in_mid_run"),
    "chattering at 1 kHz": scenarios(
        "lid_chatters",
        "lid_second_chatters",
        "stop_circuit_chatters",
        "flame_chatters",
        "air_flow_chatters",
        "temperature_chatters",
        "arm_button_chatters",
    ),
    "missing or stale": (
        *scenarios(
            "lid_input_missing", "air_flow_input_missing", "flame_reading_grows_old", "board_gone"
        ),
        SINGLE + "test_an_input_that_is_missing_or_stale_puts_the_beam_out_and_is_no_fire",
        SINGLE + "test_a_board_that_is_gone_altogether_ends_the_run",
        SINGLE + "test_what_is_missing_for_one_look_stays_tripped_when_it_is_read_again",
    ),
    "lid contacts disagree": scenarios("lid_second_sticks_open", "lid_contact_sticks_closed"),
    "beam contact welded, found when the beam is cut": (
        scenario("beam_contact_welds"),
        TRIPS + "test_where_the_loop_stays_closed_the_heartbeat_stops_and_the_mains_is_to_be_cut",
    ),
    "pin of the beam's contact dead": (
        scenario("beam_pin_dies"),
        GUARD + "test_where_the_beams_pin_is_dead_the_loop_shows_it_and_the_heartbeat_stops",
        "tests/etchdaemon/test_board_gpio.py::test_an_edge_whose_cut_fails_is_not_lost",
    ),
    "beam contact welded, and a flame": (
        scenario("flame_with_beam_contact_welded"),
        TRIPS + "test_in_an_emergency_the_heartbeat_stops_until_the_reset",
    ),
    "safety relay or heartbeat contact welded": (
        *scenarios("safety_relay_welded", "heartbeat_contact_welded", "one_press_for_each_tile"),
        RELAY
        + "test_a_welded_contact_is_found_after_the_etch_and_nothing_starts_until_a_test_passes",
        RELAY + "test_after_any_other_end_the_beams_contact_is_never_held_closed_for_a_test",
    ),
    "inputs frozen: readings arrive, values never change": (
        *scenarios("inputs_freeze_in_mid_run", "inputs_freeze_at_rest", "air_sticks_closed"),
        FROZEN + "test_a_loop_that_never_changes_is_found_at_arming",
        FROZEN + "test_air_that_never_changes_is_found_at_the_next_switching_on",
        PINS + "test_after_a_change_of_pins_nothing_is_armed_before_each_contact_was_seen_to_open",
    ),
    "loop open while commanded on": (scenario("loop_stays_open"),),
    "loop lost in mid-run": (scenario("loop_lost_in_mid_run"),),
    "air flow with the fan off": (scenario("air_sticks_closed"),),
    "fan dies in mid-run": scenarios("fan_stops_after_30_s", "fan_stops_in_a_long_row"),
    "callback raises": (
        scenario("edges_fail"),
        SINGLE + "test_a_callback_that_raises_is_a_failure_of_the_guard_and_ends_the_run",
        "tests/etchdaemon/test_board_gpio.py::test_a_callback_lets_no_exception_into_the_librarys_thread",
    ),
    "guard fails": (
        scenario("edges_fail"),
        GUARD + "test_a_guard_that_fails_cuts_before_it_writes_its_log",
        GUARD + "test_a_guard_that_keeps_failing_writes_one_traceback_a_minute",
        GUARD + "test_the_trip_of_a_guard_that_failed_is_told_to_whoever_steers",
    ),
    "edge thread dies": (
        scenario("edges_lost"),
        SINGLE + "test_edges_that_come_no_longer_are_told_of_once_in_the_record_and_shown",
        SINGLE + "test_without_edges_the_poll_alone_ends_the_run",
        "tests/etchdaemon/test_board_gpio.py::test_a_dead_edge_thread_is_said_and_the_poll_goes_on",
    ),
    "poll thread blocked": (
        scenario("reading_hangs"),
        SINGLE + "test_a_poll_that_is_blocked_is_noticed_by_the_loop",
        GUARD + "test_a_guard_that_hangs_with_its_lock_is_a_trip_and_the_beam_goes_out",
    ),
    "logbook blocked": (
        *scenarios("card_answers_nothing", "card_answers_nothing_in_a_hold"),
        SINGLE + "test_a_logbook_that_is_blocked_does_not_keep_the_lid_from_being_obeyed",
        SINGLE + "test_a_resume_that_cannot_be_written_down_brings_no_beam",
    ),
    "page process killed": (scenario("page_killed"),),
    "fire while nothing is etched, every page closed": (
        *scenarios("flame_while_idle", "flame_after_the_end"),
        ALERTS + "test_an_emergency_is_told_at_any_time_and_once",
    ),
    "trip after the end, every page closed": (
        scenario("trip_after_the_end"),
        ALERTS + "test_a_trip_after_the_end_is_told_but_not_one_that_somebody_at_the_machine_sees",
    ),
    "daemon dies or hangs in mid-etch, every page closed": (
        *scenarios("daemon_dies_in_mid_etch", "daemon_hangs_in_mid_etch"),
        ALERTS + "test_a_daemon_that_dies_in_mid_etch_is_told_once",
        "tests/processes/test_page_alerts.py::test_a_daemon_that_is_killed_in_mid_etch_reaches_the_webhook_whatever_was_left_out",
        ALERTS + "test_an_etch_of_which_only_the_end_of_all_power_is_known_was_cut_off",
    ),
    "controller or guard fails, every page closed": (
        *scenarios(
            "controller_falls_silent",
            "controller_hangs",
            "serial_unplugged_in_motion",
            "alarm",
            "supply_dips",
            "edges_fail",
        ),
        PEOPLE + "test_the_buzzer_calls_somebody_in_every_fault_that_ends_an_etch",
    ),
    "watch round asks, every page closed": (
        scenario("round_answered_at_the_button"),
        PEOPLE + "test_the_button_answers_a_round_and_the_record_says_so",
        ALERTS + "test_a_watch_round_that_asks_is_told_each_time_with_what_to_do",
    ),
    "watch round that nobody answers": (
        scenario("round_that_nobody_answers"),
        PEOPLE + "test_a_round_that_nobody_answers_holds_at_a_rows_end_and_not_within_a_row",
    ),
    "look after the end": (
        *scenarios("looks_after_the_end", "looks_after_the_daemon_died"),
        PEOPLE
        + "test_a_look_after_the_end_is_answered_and_stands_in_the_record_of_the_run_that_ended",
        PEOPLE + "test_after_a_daemon_that_died_in_mid_etch_the_next_one_asks_for_the_looks",
    ),
    "daemon killed": scenarios("daemon_killed_in_dynamic_power", "daemon_killed_in_constant_power"),
    "daemon stopped": scenarios(
        "daemon_stopped_in_dynamic_power", "daemon_stopped_in_constant_power"
    ),
    "controller goes on with buffered lines": (
        scenario("lid_opened_and_taken_up_again"),
        BOX + "test_lines_that_the_controller_still_has_do_not_burn_after_a_trip",
    ),
    "configuration wrong": (
        scenario("box_file_wrong"),
        CONFIGURATION + "test_a_fault_has_its_name_and_says_what_to_do",
        CONFIGURATION + "test_a_box_without_a_lid_contact_is_read_but_only_watches",
    ),
    "resume with the lid open": (scenario("lid_opened_in_a_hold"),),
    "start twice, hold during hold": (scenario("pressed_twice"),),
    "stop during everything": scenarios(
        "stop_while_etching",
        "stop_while_holding",
        "stop_while_held_and_tripped",
        "stop_while_going_on",
        "stop_after_a_trip",
    ),
    "lid closed again in a hold": (scenario("lid_opened_in_a_hold"),),
    "no beam whatever the order": (
        scenario("whatever_the_order"),
        "tests/etchdaemon/test_interlocks_property.py::TestAnyOrder",
    ),
    "unknown reset": (
        scenario("reset_of_something_unknown"),
        SINGLE + "test_a_reset_of_what_is_unknown_or_has_not_tripped_is_refused_and_resets_nothing",
        TRIPS + "test_a_reset_that_is_refused_in_part_resets_nothing",
    ),
    "an interlock command from somebody who may only watch": (
        scenario("phone_that_may_only_watch"),
        "tests/etchdaemon/test_rpc_dispatcher.py::test_a_user_who_may_only_observe_cannot_operate",
    ),
}

IMPERFECT = "tests/etchpractice/test_imperfections.py::"

TILE_FAULTS = {
    "nothing goes wrong": (
        scenario("nothing_goes_wrong"),
        IMPERFECT + "test_a_tile_is_flawless_until_something_else_is_asked_for",
    ),
    "too little dose": (
        scenario("black_rubs_off"),
        IMPERFECT + "test_less_dose_rubs_off_and_enough_stays",
    ),
    "wiped badly": (
        *scenarios("wiping_leaves_a_haze", "paint_is_left_in_places"),
        IMPERFECT + "test_a_haze_greys_white_and_pales_black_by_no_more_than_is_said",
        IMPERFECT + "test_paint_is_left_on_the_share_of_the_tile_that_is_said",
    ),
    "out of focus": (
        *scenarios("tile_lies_out_of_focus", "tile_stands_on_a_wedge"),
        IMPERFECT + "test_a_line_burnt_out_of_focus_is_as_wide_as_its_spot_and_the_heat",
        IMPERFECT + "test_the_middle_of_a_bowed_tile_stands_higher_than_its_corners",
    ),
    "an old diode": (
        scenario("diode_fades"),
        IMPERFECT + "test_a_diode_loses_its_share_with_each_hour_of_beam_and_with_no_other",
    ),
    "far too much dose": (
        scenario("overburnt_and_rough"),
        IMPERFECT + "test_only_a_broken_glaze_is_rough",
    ),
}
