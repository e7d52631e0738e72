"""What a proposal may not achieve, in plain words, and the tests that see to it: each of them is there.

Whoever finds a new way round adds a line here, and a test.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HERE = Path(__file__).parent
MAY_NOT: dict[str, tuple[str, ...]] = {
    "be taken for another commit, or judged against another base, than those that were meant": (
        "gate::a_base_that_may_be_another_is_none", "gate::a_tag_does_not_stand_in_for_the_branch_that_is_proposed", "gate::nothing_proposed",
        "gate::a_head_that_is_no_commit", "git::what_names_no_commit_is_refused", "git::a_base_is_a_name_not_a_calculation",
    ),
    "pass alone and spoil what it is merged with": (
        "gate::two_sides_that_pass_alone_and_not_together", "gate::a_merge_that_brings_more_than_its_sides", "gate::a_conflict_is_named",
        "gate::a_git_that_cannot_merge_by_itself", "gate::no_merge_driver_runs", "gate::nothing_that_lies_about_says_how_to_merge", "connect::the_gate_merges_by_lines_all_the_same",
    ),
    "have git run a program, or believe what is no object": (
        "gate::no_replacement_is_believed", "gate::no_graft_is_believed", "gate::no_forged_graph_of_commits_is_believed",
        "gate::no_damaged_index_is_believed", "gate::nothing_that_the_settings_of_git_name_runs", "git::programs_of_the_repository_are_not_run",
        "snapshot::filters_and_textconv_are_never_run", "gate::no_git_of_the_proposal_is_called", "started_anywhere::the_command_never_looks_where_it_is_started",
        "started_anywhere::as_a_module_it_imports_nothing_from_where_it_is_started",
    ),
    "turn the question to another repository by what stands in the environment": (
        "gate::no_surroundings_change_the_answer", "git::other_variables_of_git_are_dropped", "git::what_git_handed_over_counts_only_where_we_were_started",
    ),
    "have a failure forgotten, or bring results that nobody sees": (
        "results_in_git::results_that_come_change_or_go_are_listed", "results_in_git::the_gate_says_whose_word_it_took",
        "results_in_git::a_failure_does_not_vanish_on_the_way_to_pilot", "results_in_git::what_is_not_proved_stays_out",
    ),
    "get a yes out of what cannot be read": (
        "gate::a_shallow_clone_has_no_answer", "gate::a_clone_without_its_files_has_no_answer", "gate::what_cannot_be_read_is_no_yes",
        "gate::objects_may_lie_in_another_store", "snapshot::unmerged_files_are_named", "git::a_spoilt_index_is_named_with_a_remedy",
    ),
    "have a link, a pipe or a pointer read in place of a file": (
        "snapshot::links_and_submodules_are_faults", "snapshot::a_file_swapped_after_listing_is_not_read", "snapshot::pipes_and_sockets_are_faults_and_never_wait",
        "document::bytes_that_cannot_be_read", "snapshot::too_many_files_are_refused", "snapshot::long_files_are_cut",
        "judge::wrong_settings_are_named_and_stop", "gate::the_root_is_that_of_the_base",
    ),
    "have anything written elsewhere, or half": (
        "writing::links_are_not_written_through", "writing::nothing_half_written_stays", "writing::nothing_is_written_outside_the_root",
        "render::nothing_is_written_through_a_link", "gate::an_answer_that_cannot_be_kept_is_none",
    ),
    "keep the check busy without end": (
        "limits::ends_in_time", "limits::limit_is_told_and_stops", "limits::all_limits_together_have_one", "nesting::whoever_nests_two_thousand_deep_gets_an_answer",
        "nesting::a_proposal_hundreds_deep_is_refused",
    ),
    "judge itself by settings, rules or tools of its own": (
        "gate_attacks::no_policy_of_the_proposal_acts", "gate_attacks::it_is_refused_with_the_reason", "gate::a_policy_that_cannot_be_applied_judges_nothing",
        "gate::what_the_base_has_won_since_is_not_taken_for_the_proposals", "gate::who_may_sign_is_policy",
    ),
    "lower what is unsafe, or make a rule vanish": (
        "judge::some_rules_keep_their_level", "judge::what_is_unsafe_stays_an_error_whatever_the_settings_say", "compatibility::no_setting_lowers_what_is_unsafe",
        "compatibility::what_nobody_knows_to_be_safe_blocks_on_the_bench_too", "judge::a_rule_of_the_house_that_is_wrong_stops_whatever_is_judged",
    ),
    "say other things of a material, or bring one that nobody approved, unseen": (
        "gate_attacks::every_way_to_pick_a_material_is_evidence", "gate_attacks::it_is_refused_with_the_reason", "gate::what_cannot_be_read_on_the_base_is_not_taken_for_unchanged",
    ),
    "leave out the market, widen the limit or step down from the state by which it fails": (
        "gate_attacks::every_policy_of_a_formula_has_its_attack", "gate_attacks::it_is_refused_with_the_reason", "gate_attacks::what_a_premix_holds_counts_however_it_is_named",
        "gate_attacks::what_holds_by_the_base_or_is_free_is_not_held_against_it", "judge::nothing_is_made_with_what_is_withdrawn", "consistency::a_fault_is_told_once_at_its_key",
    ),
    "be the first to say what is asked of it": ("gate::a_first_adoption_is_read_by_somebody", "gate::settings_on_neither_side"),
    "change what checks it, unseen": ("gate_attacks::it_is_refused_with_the_reason", "gate::policy_above_a_root_in_a_folder", "ci_example::a_proposal_that_changes_its_own_check_may_not"),
    "excuse itself": (
        "judge::a_concession_or_a_comment_hides_nothing", "gate_attacks::it_is_refused_with_the_reason", "leave::what_is_doubtful_gives_no_leave_and_is_told",
        "leave::what_cannot_be_read_stops_and_gives_no_leave", "leave::nothing_else_stands_by_it",
        "concessions_in_git::no_leave_that_a_proposal_gives_itself_acts", "concessions_in_git::what_it_concedes_no_longer_on_a_later_day_is_refused",
        "concessions_in_git::a_higher_revision_has_no_leave", "concessions_in_git::leave_that_cannot_be_read_on_the_base_is_no_yes",
        "concessions_in_git::what_gets_worse_counts_again", "concessions_in_git::what_cannot_be_read_or_is_unsafe_is_never_on_the_list",
        "concessions_in_git::in_the_gate_the_list_of_the_base_counts",
    ),
    "be approved by nobody, by itself, by a stranger or by words that no signature covers": (
        "approval::what_is_no_approval", "approval::nobody_approves_what_they_wrote", "approval::a_borrowed_name_does_not_hide_a_key",
        "approval::who_wrote_an_intermediate_wrote_the_paint", "approval::without_keys_nothing_is_approved", "approval::where_nobody_may_approve_nothing_is",
        "approval::a_program_of_the_repository_verifies_nothing", "approval::without_ssh_keygen_nobody_can_say", "approval::a_key_counts_as_the_list_says",
        "approval::an_openpgp_key_counts_where_its_fingerprint_is_pinned", "release_kept::a_proposal_does_not_name_its_own_approver",
        "release_kept::who_proposes_does_not_approve", "release_kept::who_wrote_it_before_it_was_in_production_does_not_let_it_in", "release_kept::whoever_is_listed_for_policy_only_approves_no_formula",
        "release_kept::production_asks_for_an_approval_and_goes_in_with_one", "release_kept::a_shallow_clone_cannot_say_who_approved",
        "release::an_approver_of_a_change_wrote_none_of_it_since_the_last_release",
        "release_attacks::whoever_signs_words_of_others_in_passing_approves_nothing", "release_attacks::a_merge_of_two_sides_that_came_to_the_same_hides_neither_author",
        "release_attacks::a_record_written_by_hand_makes_nobody_innocent", "release_attacks::who_wrote_an_earlier_release_approves_the_next",
        "release_attacks::an_address_that_only_looks_like_an_approvers_is_another",
    ),
    "keep an approval of something else, or pass off a name for a signature": (
        "approval::it_dies_with_a_digest", "approval::it_dies_with_a_figure_of_a_material", "approval::what_a_message_approves",
        "approval::a_stated_approval_counts_where_the_settings_say_so_and_is_told_loudly", "approval::a_stated_approval_by_somebody_else_counts_nowhere",
        "approval::a_bad_signature_is_not_taken_for_a_statement", "release_kept::a_stated_approval_is_told_loudly_by_the_gate",
        "audit::an_approval_that_is_none_is_told_with_the_reason",
    ),
    "make what was released another paint, or its record another record": (
        "release_kept::a_released_revision_stays_the_paint_that_it_was", "release_kept::a_premix_that_changes_makes_another_paint_of_what_holds_it",
        "release_kept::no_proposal_changes_a_released_revision", "release_kept::a_record_is_not_touched", "release_kept::no_proposal_touches_a_record",
        "release_kept::records_that_move_with_their_folder_are_touched", "release_kept::a_record_deleted_with_the_change_that_it_forbids",
        "release_kept::beside_a_record_that_cannot_be_read_nothing_changes", "release_kept::nobody_concedes_what_was_released",
        "release_kept::the_list_of_old_findings_takes_none_of_it", "release::nothing_that_lies_there_is_written_over",
    ),
    "bring a record that nothing proves, or have one hold that does not": (
        "release_kept::a_forged_record_does_not_go_in", "release_kept::a_record_that_nobody_wrote_is_none", "release_kept::a_second_record_in_a_folder_below_is_none",
        "release_kept::a_record_of_another_paint_is_told_when_it_is_committed", "release_kept::a_record_under_settings_of_its_own_does_not_go_in",
        "release_kept::a_record_of_a_commit_from_elsewhere_does_not_go_in", "release::a_record_that_says_something_else_does_not_hold",
        "release::records_that_nobody_wrote", "release::what_is_missing_is_no_yes", "release::a_shallow_clone_cannot_say", "release::other_versions_are_named",
        "audit::which_records_hold_no_longer_and_why", "audit::a_record_that_came_later_than_it_says_is_doubted", "audit::why_nothing_was_valid",
        "release_attacks::a_record_that_is_not_what_was_released_does_not_hold", "release_attacks::the_audit_misses_a_record_that_was_taken_away",
        "release_attacks::a_record_that_was_taken_back_as_it_was_holds", "release_attacks::an_approval_that_nothing_keeps_is_told", "release_attacks::what_no_record_can_say_is_not_released",
        "release_attacks::no_release_is_dated_in_the_future", "release_attacks::no_record_of_a_day_to_come_goes_in",
        "release_attacks::a_release_dated_back_does_not_revive_a_concession",
    ),
    "be released without a proof, or twice": (
        "release::what_is_not_proved_is_refused_and_named", "release::what_is_not_committed_is_not_released", "release::beside_an_edited_record_nothing_is_released",
        "release::a_premix_on_the_bench_is_judged_as_what_is_sold", "release::a_revision_is_released_once",
        "release::the_next_revision_is_released_and_the_one_before_is_not", "release::a_release_is_not_dated_before_the_one_before",
        "release::a_tag_that_is_taken_lets_nothing_be_written", "release_faults::of_several_at_once_one_wins",
    ),
    "be released half, elsewhere or unheard, because something was killed, full, closed or damaged": (
        "release_faults::a_release_that_is_killed_leaves_a_whole_record_or_none", "release_faults::without_files_that_have_no_name_it_is_whole_or_not_there_either",
        "release_faults::a_disk_without_room_is_said", "release_faults::nobody_listens", "release_faults::who_listened_has_gone",
        "release_faults::it_is_the_same_to_the_byte_wherever_it_runs", "release_faults::a_folder_of_records_that_is_a_link_is_not_followed",
        "release_faults::a_damaged_clone_is_no_yes", "release_faults::a_bare_repository_holds_no_place_for_a_record",
    ),
    "choose the day on which it is judged": (
        "gate::the_day_is_the_later_of_both", "gate::a_proposal_older_than_its_base", "gate::a_proposal_from_the_future_does_not_outlive_a_rule", "gate::a_date_that_nobody_can_read",
    ),
    "steer a screen, a log or a page by what it is called": (
        "clean::terminal_receives_no_control", "clean::log_holds_no_command_however_it_is_wrapped", "clean::markdown_stops_each_trick", "clean::html_shows_just_the_text",
        "clean::xml_holds_just_the_text", "clean::no_cell_is_a_formula", "clean::rendered_text_summons_nobody", "clean::mermaid_label_is_quoted_letters_and_entities",
        "outputs::text_of_a_stranger_steers_nothing", "render::a_hostile_text_is_harmless_on_a_screen",
    ),
    "be waved through because nobody could hear the answer": (
        "gate::no_report_no_yes", "gate::a_full_disk_is_no_yes", "gate::whoever_stops_reading_gets_no_yes", "ci_example::what_cannot_be_answered_is_no_yes_and_no_value_is_a_command",
    ),
}  # fmt: skip
"""What may not be achieved, and the tests that see to it: ``file::test``, both without their ``test_``."""


def names_in(file: str) -> set[str]:
    """Names of the tests of a file, without their beginning."""
    tree = ast.parse((HERE / f"test_{file}.py").read_text(encoding="utf-8"))
    return {one.name.removeprefix("test_") for one in tree.body if isinstance(one, ast.FunctionDef) and one.name.startswith("test_")}


@pytest.mark.parametrize("what", MAY_NOT)
def test_every_test_that_is_named_is_there(what: str) -> None:
    named = [name.partition("::") for name in MAY_NOT[what]]
    assert [f"{file}::{name}" for file, _, name in named if name not in names_in(file)] == []
    assert len(set(MAY_NOT[what])) == len(MAY_NOT[what]) > 0


def test_every_test_of_attacks_is_named() -> None:
    named = {name for names in MAY_NOT.values() for name in names}
    attacks = {f"{file}::{name}" for file in ("gate_attacks", "release_attacks", "release_faults") for name in names_in(file)} - {"gate_attacks::what_fails_by_both_is_told_once"}
    assert attacks <= named
