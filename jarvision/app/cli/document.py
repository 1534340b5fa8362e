"""The result as one JSON document: the same names as the CSV columns."""

from __future__ import annotations

import math
from dataclasses import asdict
from datetime import date
from typing import Any

from jarvision.app.cli.plain import iso
from jarvision.base.version import __version__
from jarvision.records import (
    Coverage,
    Finding,
    FinishedJar,
    JarStory,
    Reading,
    ShelfResult,
    TrackedPatch,
)
from jarvision.records.flags import FLAGS
from jarvision.report.fruiting import fruiting_document
from jarvision.report.words import by_urgency


def result_document(result: ShelfResult) -> dict[str, Any]:
    """Name everything of a result, jars by urgency; dates are ISO 8601."""
    return {
        "jarvision": __version__,
        "folder": result.folder,
        "scored_on": iso(result.scored_on),
        "settings_digest": result.settings_digest,
        "jars": [_jar(story) for story in by_urgency(result.stories)],
        "finished": [_finished(done) for done in result.finished],
        "photos": [_photo(reading) for reading in result.readings],
        "warnings": list(result.warnings),
    }


def _jar(story: JarStory) -> dict[str, Any]:
    verdict, growth = story.verdict, story.growth
    return {
        "jar": verdict.jar,
        "species": verdict.species,
        "verdict": verdict.verdict,
        "reasons": list(verdict.reasons),
        "findings": [_finding(finding) for finding in verdict.findings],
        **_cover(verdict.coverage),
        "ready_date": iso(growth.ready_date),
        "ready_low": iso(growth.ready_low),
        "ready_high": iso(growth.ready_high),
        "flags": [
            {
                "flag": flag.flag,
                "severity": FLAGS[flag.flag].severity,
                "date": iso(flag.day),
                "message": flag.message,
            }
            for flag in story.flags
        ],
        "diary": [
            {
                "date": iso(line.day),
                "what": line.what,
                "celsius": line.celsius,
                "text": line.text,
            }
            for line in story.history.diary
        ],
        "patches": [
            _patch(patch, day.day) for day in story.history.days[-1:] for patch in day.patches
        ],
        "fruiting": fruiting_document(story),
    }


def _finished(done: FinishedJar) -> dict[str, Any]:
    days = done.story.history.days
    return {
        "jar": done.jar,
        "ended": done.ending.word,
        "date": iso(done.ending.day),
        "sentence": done.ending.tell(),
        "last_photo": iso(days[-1].day) if days else None,
    }


def _patch(patch: TrackedPatch, day: date) -> dict[str, Any]:
    return {**asdict(patch), "first_day": iso(patch.first_day), "date": iso(day)}


def _finding(finding: Finding) -> dict[str, Any]:
    """A finding as data: its word, and the facts that its sentence tells."""
    numbers = {k: v if math.isfinite(v) else None for k, v in finding.numbers.items()}
    dates = {name: iso(day) for name, day in finding.dates.items()}
    return {
        "finding": finding.word,
        "verdict": finding.verdict,
        "flag": finding.flag,
        "date": iso(finding.day),
        "facts": {**finding.names, **dates, **numbers},
    }


def _photo(reading: Reading) -> dict[str, Any]:
    return {
        "photo": reading.photo,
        "jar": reading.jar,
        "view": reading.view,
        "taken_at": reading.taken_at.isoformat(timespec="seconds"),
        "status": reading.status,
        "reason": reading.reason,
        "detail": reading.detail,
        **_cover(reading.coverage),
        "card_values": reading.card_values,
        "card_values_de00": reading.card_values_de00,
        "overlay": reading.overlay,
    }


def _cover(cover: Coverage | None) -> dict[str, float | None]:
    return {
        "coverage_percent": round(cover.percent, 1) if cover else None,
        "coverage_low": round(cover.low, 1) if cover else None,
        "coverage_high": round(cover.high, 1) if cover else None,
    }
