"""The targets of scripts/fuzz by their names."""

from collections.abc import Iterator

from scripts import fuzz_files as files
from scripts import fuzz_inputs as inputs
from scripts import fuzz_typed as typed
from scripts import fuzz_web as web
from scripts.fuzz_common import Target
from scripts.fuzz_files import in_a_process_of_its_own

__all__ = ["IN_A_PROCESS_OF_ITS_OWN", "TARGETS", "in_a_process_of_its_own"]


def _briefs() -> Iterator[bytes]:
    yield from inputs.briefs()


TARGETS = {
    "journal": Target(
        typed.journal_seeds,
        typed.journal_target,
        ("journal.jsonl", "journal.checks", "journal.moments"),
    ),
    "log": Target(
        typed.log_seeds, typed.log_target, ("cli.log", "exchange.typed", "journal.checks")
    ),
    "readings": Target(
        typed.readings_seeds,
        typed.readings_target,
        (
            "exchange.readings_csv",
            "exchange.readings_layout",
            "exchange.readings_stamps",
            "exchange.readings_headings",
        ),
    ),
    "payload": Target(
        typed.payload_seeds,
        typed.payload_target,
        ("exchange.sensor_payload", "exchange.sensor_guess", "exchange.sensor_settings"),
    ),
    "device": Target(
        web.device_seeds,
        web.device_target,
        ("web.api_devices", "exchange.sensor_sent", "exchange.sensor_keep"),
    ),
    "brief": Target(_briefs, typed.brief_target, ("planning.brief", "exchange.plan_asked")),
    "offers": Target(_briefs, typed.offers_target, ("planning.offers",)),
    "ration": Target(_briefs, typed.ration_target, ("planning.ration_brief", "planning.ration")),
    "blend": Target(_briefs, typed.blend_target, ("planning.blend_brief", "planning.blend")),
    "match": Target(typed.match_seeds, typed.match_target, ("exchange.tables_in_match",)),
    "csv": Target(
        files.sheet_text_seeds,
        files.sheet_text_target,
        ("exchange.tables_in_grid", "exchange.tables_in_guess"),
    ),
    "cells": Target(
        inputs.grids,
        files.cells_target,
        ("exchange.tables_in_cells", "exchange.tables_in_guess", "exchange.tables_in_rows"),
    ),
    "parts": Target(
        files.parts_seeds,
        files.book_parts_target,
        ("exchange.tables_in_grid", "exchange.tables_in_reader"),
    ),
    "book": Target(
        files.book_seeds,
        files.book_bytes_target,
        ("exchange.tables_in_grid", "exchange.tables_in_reader"),
    ),
    "lid": Target(typed.lid_seeds, typed.lid_target, ("exchange.lid_back",)),
    "week": Target(typed.week_seeds, typed.week_target, ("exchange.paper_back",)),
    "backup": Target(
        files.backup_seeds, files.backup_target, ("journal.backup", "journal.restoring")
    ),
    "zip": Target(files.zip_seeds, files.zip_target, ("journal.backup",)),
    "calendar": Target(files.calendar_seeds, files.calendar_target, ("exchange.calendar_ics",)),
    "pages": Target(
        web.pages_seeds,
        web.pages_target,
        (
            "web.pages",
            "web.entering",
            "web.forms",
            "web.settings_pages",
            "web.paper",
            "web.costs",
            "web.light",
            "web.brooding",
            "exchange.typed",
        ),
    ),
    "calls": Target(
        web.api_seeds,
        web.api_target,
        ("web.api", "web.api_readings", "exchange.record", "exchange.feed_requested"),
    ),
    "kept": Target(
        web.kept_seeds, web.kept_target, ("flock.fold", "exchange.record", "guide.round")
    ),
}
"""By the name that scripts/fuzz knows them by."""

IN_A_PROCESS_OF_ITS_OWN = ("parts", "book")
