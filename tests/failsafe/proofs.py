# ruff: noqa: E501 - tests have the names they have
"""Which tests prove each line of the fail-safe list. `test_page` checks that each exists, and the page."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One line of the list."""

    says: str
    tests: tuple[str, ...]
    """`file::function`, under `tests/`."""
    left: str
    """What only hardware or a person can give; empty: nothing."""


F = "failsafe/"
LINES: dict[str, Line] = {
    "F1": Line(
        "Cold boot, warm reboot, kill, hang, power cut: nothing goes on before the config is loaded, the check of"
        " itself has passed and a valid reading came or a programme was due",
        (
            F
            + "test_f01_f02_f25_start.py::test_f01_nothing_that_follows_the_air_goes_on_before_a_valid_reading",
            F
            + "test_f01_f02_f25_start.py::test_f01_the_check_of_itself_passes_and_finds_a_rule_that_is_gone",
            F
            + "test_f01_f02_f25_start.py::test_f01_a_real_start_a_kill_and_a_stop_energise_nothing_by_themselves",
            F
            + "test_f18_f20_f21_inputs.py::test_f20_at_the_start_everything_waits_until_the_stop_has_reported",
        ),
        "Until the program runs, only resistors on the relay inputs keep them off (`pull-resistors`)",
    ),
    "F2": Line(
        "Every ON is a lease with an end; whoever dies, the load goes off by itself",
        (
            F + "test_f01_f02_f25_start.py::test_f02_every_on_is_a_lease_with_an_end",
            F + "test_f01_f02_f25_start.py::test_f01_f02_a_daemon_that_hangs_leaves_nothing_on_past_its_end",
            "conformance/test_relay_drivers.py::test_on_is_a_lease_that_ends_by_itself",
            "core/test_interlock_properties.py::test_a_lease_is_renewed_in_time_whenever_deadlines_are_kept",
        ),
        "The board's own timer; a board without one wants a run-time limiter",
    ),
    "F3": Line(
        "Longest run, running time in an hour and a day, least on and off, starts in an hour; no restart gets round",
        (
            F + "test_f03_f10_f17_f18_limits.py::test_f03_running_time_of_an_hour_is_used_up_and_comes_back",
            F
            + "test_f03_f10_f17_f18_limits.py::test_f03_running_time_of_a_day_is_used_up_until_local_midnight",
            F + "test_f03_f10_f17_f18_limits.py::test_f03_a_restart_gets_round_neither",
            "core/test_interlock_properties.py::test_no_relay_ever_passes_its_limits",
        ),
        "",
    ),
    "F4": Line(
        "After a stop of any kind a load is taken to have stopped just now: its rest begins anew",
        ("core/test_interlock.py::test_a_restart_gets_round_no_limit",),
        "A compressor's own rest timer, for when the box is not asked",
    ),
    "F5": Line(
        "Emergency stop, then what protects, longest run, a person's wish, demand, programme",
        (
            F + "test_f01_f02_f25_start.py::test_f05_the_order_of_authority_is_the_lists",
            "core/test_interlock.py::test_an_interlock_beats_an_override_cuts_at_once_and_says_so_once",
            "core/test_interlock_properties.py::test_no_override_passes_an_interlock",
        ),
        "",
    ),
    "F6": Line(
        "No mist with somebody inside or a door open, no heat without its fan, no UV lamp without a shut door, no"
        " pump without water, heater and cooler never together",
        (
            F + "test_f06_f26_interlocks.py::test_f06_no_heat_before_the_fan_is_seen_to_run",
            F + "test_f06_f26_interlocks.py::test_f06_heat_is_cut_at_once_when_the_fan_is_no_longer_seen",
            F + "test_f06_f26_interlocks.py::test_f06_heat_is_cut_when_the_proof_falls_silent",
            F + "test_f06_f26_interlocks.py::test_f06_no_uv_before_door_and_people_are_heard",
            F
            + "test_f06_f26_interlocks.py::test_f06_uv_is_cut_at_once_by_the_door_the_switch_and_the_mode_whatever_its_least_on_time",
            F
            + "test_f06_f26_interlocks.py::test_f06_uv_is_cut_when_nobody_can_say_any_more_that_the_room_is_shut_and_empty",
            "core/test_authority.py::test_a_uv_lamp_wants_proof",
            "core/test_interlock_properties.py::test_relays_that_exclude_one_another_never_meet",
            "core/test_equipment.py::test_an_empty_tank_behind_the_pump_shuts_every_valve_at_once",
        ),
        "A lamp's door switch in its own circuit, a heater's cut-out, a pump's dry-run cut-out",
    ),
    "F7": Line(
        "A wish by hand ends by itself, has a name and a reason, and is gone after a restart",
        (
            "core/test_farm.py::test_an_override_always_ends",
            "core/test_farm.py::test_an_override_is_cut_to_four_hours_and_defaults_to_half_an_hour",
            "core/test_farm.py::test_a_start_forgets_overrides_and_old_readings_but_keeps_the_days_water",
        ),
        "",
    ),
    "F8": Line(
        "A load that does not do as told is found within its time, both ways; running though off is priority 1",
        (
            F
            + "test_f08_f09_proofs.py::test_f08_a_load_that_runs_though_told_off_is_found_and_calls_with_priority_1",
            F + "test_f08_f09_proofs.py::test_f08_a_load_that_stands_though_told_on_is_found_and_calls",
            F
            + "test_f08_f09_proofs.py::test_f08_whatever_happens_a_load_seen_to_run_past_its_time_is_locked",
            "core/test_farm.py::test_a_board_that_stays_on_is_called_and_locked_until_reset",
        ),
        "An input that sees the load: flow, current, a running contact",
    ),
    "F9": Line(
        "After that nothing turns it on until a named person resets it, and what lies upstream is off",
        (
            F + "test_f08_f09_proofs.py::test_f09_nothing_but_a_named_person_lets_it_run_again",
            F
            + "test_f08_f09_proofs.py::test_f09_the_master_upstream_runs_with_its_loads_and_falls_when_one_sticks",
            F + "test_f08_f09_proofs.py::test_f09_the_lock_outlasts_a_restart",
        ),
        "A welded contact cannot open itself: a valve or contactor upstream (`master`), else somebody's hand",
    ),
    "F10": Line(
        "Hardware that cuts a load that can flood or burn is stated with its last test, and its next is reminded of",
        (
            F + "test_f03_f10_f17_f18_limits.py::test_f10_an_untested_limiter_is_reminded_of_after_180_days",
            F + "test_f03_f10_f17_f18_limits.py::test_f10_a_load_that_can_flood_or_burn_without_one_is_told",
            F + "test_f03_f10_f17_f18_limits.py::test_f10_statements_grow_old_and_dates_to_come_are_doubted",
        ),
        "The run-time limiter itself, and its test",
    ),
    "F11": Line(
        "A reading that is silent, impossible, frozen or no number is marked and steers nothing; missing is not zero",
        (
            "core/test_farm.py::test_only_good_live_readings_drive",
            "core/test_farm.py::test_silence_leads_down_the_ladder_and_back",
            "core/test_quality.py::test_what_cannot_be_is_bad",
            "core/test_contacts.py::test_what_is_no_number_is_bad_and_not_off",
        ),
        "",
    ),
    "F12": Line(
        "A clock that jumps lengthens no run, skips no rest and fires no day twice",
        (
            "core/test_interlock_properties.py::test_a_wall_clock_that_steps_moves_no_run",
            "core/test_interlock.py::test_a_clock_that_jumps_a_day_and_back_does_not_refill_the_day",
            "timers/test_timers.py::test_named_times_in_the_change_nights",
            F
            + "test_f06_f26_interlocks.py::test_f26_the_weekly_test_keeps_its_hour_by_the_wall_in_both_change_nights",
        ),
        "",
    ),
    "F13": Line(
        "While the clock is not set the sensors steer, and records say that their time is unsure",
        (
            "service/test_clock_trust.py::test_the_boards_are_believed_while_our_clock_is_not_set",
            "service/test_clock_trust.py::test_the_journal_says_from_when_to_when",
        ),
        "A battery clock, where no time server is reached",
    ),
    "F14": Line(
        "A disk that is full, hangs or is damaged stops no control; somebody is told, and what was lost is counted",
        (
            "store/test_disk_refuses.py::test_a_hanging_disk_silences_no_sensor",
            "store/test_disk_refuses.py::test_memory_is_bounded_and_the_loss_counted",
            "store/test_disk_refuses.py::test_a_full_disk_is_told_and_survived",
        ),
        "",
    ),
    "F15": Line(
        "Without the broker relays go to their fallback, somebody is told, and nothing is replayed afterwards",
        (
            "core/test_farm.py::test_without_the_broker_relays_behind_it_are_left_alone",
            "core/test_farm.py::test_a_lost_broker_alarms_after_its_grace_and_excuses_silent_sensors",
            "service/test_run.py::test_a_broker_restart_is_survived_and_told",
            "relays/test_mqtt_driver.py::test_nothing_is_ever_sent_retained",
        ),
        "",
    ),
    "F16": Line(
        "Without a network control, log and alarm relay on this machine go on",
        (F + "test_f16_f22_f24_links.py::test_f16_without_the_broker_relays_of_this_machine_go_on",),
        "A sounder on the alarm relay: no message leaves without a network or a modem",
    ),
    "F17": Line(
        "A config is taken whole or not at all; a bad one leaves the old in force and is told; a changed pin or rule"
        " of safety wants a restart",
        (
            F + "test_f03_f10_f17_f18_limits.py::test_f17_a_refused_config_calls_and_a_good_one_ends_that",
            F + "test_f16_f22_f24_links.py::test_f17_a_changed_rule_of_safety_wants_a_restart",
            "service/test_run.py::test_a_changed_config_comes_into_force_whole_or_not_at_all",
        ),
        "",
    ),
    "F18": Line(
        "The day's water has a cap; water for over a minute with every valve off is priority 1; a leak shuts the water",
        (
            F
            + "test_f18_f20_f21_inputs.py::test_f18_water_for_over_a_minute_with_every_valve_off_calls_with_priority_1",
            F + "test_f18_f20_f21_inputs.py::test_f18_what_lies_upstream_stays_off_until_a_named_reset",
            F
            + "test_f18_f20_f21_inputs.py::test_f18_a_leak_shuts_all_water_of_its_space_until_it_is_dry_and_reset",
            F
            + "test_f03_f10_f17_f18_limits.py::test_f18_the_days_cap_is_told_at_80_percent_and_ends_the_mist",
            F + "test_f03_f10_f17_f18_limits.py::test_f18_a_person_gives_half_of_it_again_once",
            "core/test_interlock_properties.py::test_the_days_water_is_never_passed",
        ),
        "A hand valve upstream; flow that no meter sees",
    ),
    "F19": Line(
        "With somebody inside the fan runs, mist and UV lamp are off; it ends by itself",
        (
            F
            + "test_f16_f22_f24_links.py::test_f19_with_somebody_inside_the_fan_runs_and_mist_is_off_for_two_hours",
        ),
        "The switch at the door, and people who use it",
    ),
    "F20": Line(
        "The emergency stop is only read; after its release nothing starts until a named reset",
        (
            F + "test_f18_f20_f21_inputs.py::test_f20_a_stop_cuts_every_load_at_once_whoever_asked",
            F + "test_f18_f20_f21_inputs.py::test_f20_after_release_nothing_restarts_until_a_named_reset",
            F + "test_f18_f20_f21_inputs.py::test_f20_a_stop_outlasts_a_restart_and_the_silence_of_its_input",
        ),
        "The stop itself: wired, cutting the loads with no computer between",
    ),
    "F21": Line(
        "Mains of the loads are sensed apart; loads come back one after the other, each after its rest",
        (
            F + "test_f18_f20_f21_inputs.py::test_f21_mains_gone_counts_loads_as_off_and_calls_once",
            F + "test_f18_f20_f21_inputs.py::test_f21_loads_come_back_one_after_the_other_five_seconds_apart",
            F
            + "test_f18_f20_f21_inputs.py::test_f21_loads_wanted_in_one_moment_a_minute_after_the_return_come_one_by_one_too",
            F + "test_f18_f20_f21_inputs.py::test_f21_after_mains_a_load_still_rests_its_least_off_time",
            F + "test_f18_f20_f21_inputs.py::test_f21_a_start_staggers_too",
        ),
        "A battery behind box and router, or nobody learns of it before the mains are back",
    ),
    "F22": Line(
        "A stop lets every relay go first, then writes, within ten seconds; a second one changes nothing",
        (F + "test_f16_f22_f24_links.py::test_f22_a_stop_lets_go_first_and_a_second_one_changes_nothing",),
        "",
    ),
    "F23": Line(
        "Two daemons cannot drive the same relays",
        ("service/test_run.py::test_a_second_daemon_on_the_same_journal_is_refused",),
        "",
    ),
    "F24": Line(
        "A board that was unplugged and comes back is off, and is told anew what it shall do",
        (
            F + "test_f16_f22_f24_links.py::test_f24_a_board_that_comes_back_is_told_anew",
            "core/test_interlock.py::test_the_board_is_told_off_at_the_start_and_again_when_it_comes_back",
        ),
        "The board must start with every relay off",
    ),
    "F25": Line(
        "Advice and the trial run touch no real relay, and say what they are",
        (
            F + "test_f01_f02_f25_start.py::test_f25_a_farm_on_advice_sends_nothing_to_any_relay",
            "conformance/test_relay_drivers.py::test_advice_is_never_driven",
            "sim/test_demo.py::test_nothing_left_the_trials_topics",
            "sim/test_demo.py::test_all_that_is_left_says_that_it_is_simulated",
        ),
        "",
    ),
    "F26": Line(
        "The alarm relay is on while all is well and drops for two seconds once a week, which is logged",
        (
            F
            + "test_f06_f26_interlocks.py::test_f26_once_a_week_it_drops_for_two_seconds_and_that_is_logged",
            F
            + "test_f06_f26_interlocks.py::test_f26_it_drops_while_an_alarm_of_priority_1_waits_for_somebody",
            F
            + "test_f06_f26_interlocks.py::test_f26_the_alarm_relay_rises_with_the_first_good_reading_and_not_before",
        ),
        "Somebody who hears the sounder, and its battery",
    ),
}
