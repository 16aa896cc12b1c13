"""Which test tries each module that writes to a disk on a card without room.

`test_writers` finds the modules by their calls, so one that begins to write has to be entered
here. Those that write into a folder of somebody else's are tried through him.
"""

_CARD, _BOARD = (
    "tests/etchwarden/test_full_card.py::test_",
    "tests/etchwarden/test_full_board.py::test_",
)
_PAGE = "tests/etchweb/test_page_on_full_card.py::test_"
_BOX = "tests/processes/test_storage_faults.py::test_on_a_card_that_"

COMMAND = _CARD + "without_room_a_command_says_so_leaves_no_half_file_and_works_again"
PART = _CARD + "without_room_a_part_fails_by_the_card_leaves_no_half_file_and_works_again"
KEPT = _CARD + "practice_on_a_card_without_room_leaves_no_half_file"
PRACTICE = _BOARD + "practice_in_a_folder_for_passing_files_on_that_is_full_says_so"
BUNDLE = _BOARD + "the_bundle_for_help_is_whole_or_not_there"
DOCTOR = _BOARD + "a_sound_logbook_that_cannot_be_copied_for_a_look_is_not_called_damaged"
ENVIRONMENT = _BOARD + "an_environment_that_finds_no_room_leaves_nothing_of_itself"
RELEASE = _BOARD + "without_room_for_another_release_the_one_that_is_used_stays_whole"
SERVED = _BOARD + "a_page_cannot_be_served_from_a_card_without_room_for_its_store"
PICTURE = _PAGE + "a_picture_comes_to_the_bench_although_every_step_was_refused_once"
TEST_TILE = _PAGE + "a_test_tile_is_made_and_read_although_every_step_was_refused_once"
VERDICT = _PAGE + "a_verdict_with_a_photo_is_kept_once_there_is_room"
PHONE = _PAGE + "a_phone_is_paired_and_shut_out_once_there_is_room"
FILLED = _BOX + "fills_up_the_etch_goes_on_and_everybody_is_told_in_a_sentence"
FROM_THE_FIRST = _BOX + "was_full_before_the_first_start_the_box_watches_until_there_is_room"
TAKEN_UP = (
    "tests/processes/test_storage_faults.py::"
    "test_an_etch_is_taken_up_on_a_card_that_was_full_once_there_is_room"
)
ANY_FILE = (
    "tests/etchwire/test_storing.py::"
    "test_what_cannot_be_written_leaves_the_old_file_and_no_half_one"
)

WRITERS = {
    "etchdaemon/configuration/pin_map.py": ANY_FILE,
    "etchdaemon/hardware/state_lock.py": FROM_THE_FIRST,
    "etchdaemon/logbook/backup/backup.py": COMMAND,
    "etchdaemon/logbook/backup/sums.py": COMMAND,
    "etchdaemon/logbook/backup/backups.py": FILLED,
    "etchdaemon/logbook/backup/exporting.py": COMMAND,
    "etchdaemon/logbook/schema/opening.py": FROM_THE_FIRST,
    "etchdaemon/logbook/backup/restoring.py": COMMAND,
    "etchdaemon/service/link/measured.py": ANY_FILE,
    "etchdaemon/service/job/spool.py": FILLED,
    "etchpath/foreign_job.py": PART,
    "etchpath/reentry/foreign.py": PART,
    "etchpath/index.py": COMMAND,
    "etchpath/preflight/inspected.py": COMMAND,
    "etchpath/preflight/picture.py": COMMAND,
    "etchpath/reentry/remainder.py": TAKEN_UP,
    "etchpath/reentry/remainder_files.py": TAKEN_UP,
    "etchphoto/expected.py": COMMAND,
    "etchphoto/job.py": COMMAND,
    "etchphoto/job_folder.py": COMMAND,
    "etchpractice/process.py": PRACTICE,
    "etchpractice/link/pty_port.py": PRACTICE,
    "etchpractice/tile/tile.py": PART,
    "etchproof/layout/job.py": COMMAND,
    "etchwarden/commands/backup.py": COMMAND,
    "etchwarden/commands/configure.py": COMMAND,
    "etchwarden/commands/daemon.py": FROM_THE_FIRST,
    "etchwarden/commands/doctor.py": BUNDLE,
    "etchwarden/commands/export.py": COMMAND,
    "etchwarden/practice_session/process_group.py": PRACTICE,
    "etchwarden/installation/building.py": ENVIRONMENT,
    "etchwarden/installation/keeping.py": RELEASE,
    "etchwarden/installation/file_layout.py": RELEASE,
    "etchwarden/installation/releases.py": ENVIRONMENT,
    "etchwarden/installation/undisturbed.py": RELEASE,
    "etchwarden/installation/unfinished.py": RELEASE,
    "etchwarden/practice_session/output_files.py": KEPT,
    "etchwarden/commands/load.py": PART,
    "etchwarden/commands/page.py": SERVED,
    "etchwarden/commands/practice.py": PRACTICE,
    "etchwarden/commands/read.py": COMMAND,
    "etchwarden/practice_session/process_stage.py": PRACTICE,
    "etchwarden/practice_session/scenario_alerts.py": PRACTICE,
    "etchwarden/practice_session/scenario_job.py": PRACTICE,
    "etchwarden/selfcheck/board_look.py": DOCTOR,
    "etchwarden/selfcheck/machine_look.py": DOCTOR,
    "etchwarden/practice_session/session.py": PRACTICE,
    "etchweb/cards/workflow.py": TEST_TILE,
    "etchweb/storage/card_files.py": TEST_TILE,
    "etchweb/cards/making.py": TEST_TILE,
    "etchweb/cards/step_views.py": TEST_TILE,
    "etchweb/drafts/store.py": PICTURE,
    "etchweb/drafts/views.py": PICTURE,
    "etchweb/server/page_database.py": PHONE,
    "etchweb/previews/store.py": PICTURE,
    "etchweb/drafts/making.py": PICTURE,
    "etchweb/site.py": SERVED,
    "etchweb/storage/tile_photos.py": VERDICT,
    "etchwire/simulated_time.py": PART,
    "etchwire/storing.py": ANY_FILE,
}
