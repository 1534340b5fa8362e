"""The result as one JSON document: the same names as the CSV columns."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from datetime import date
from typing import Any

from jarvision.base.version import __version__
from jarvision.records import Finding, JarStory, Reading, ShelfResult, TrackedPatch
from jarvision.records.flags import FLAGS
from jarvision.report.words import by_urgency


def to_json(result: ShelfResult) -> str:
    """Return the document as ASCII JSON text, jars by urgency; dates are ISO 8601."""
    document = {
        "jarvision": __version__,
        "folder": result.folder,
        "scored_on": result.scored_on.isoformat(),
        "settings_digest": result.settings_digest,
        "jars": [_jar(story) for story in by_urgency(result.stories)],
        "photos": [_photo(reading) for reading in result.readings],
        "warnings": list(result.warnings),
    }
    return json.dumps(document, indent=2, allow_nan=False)


def _jar(story: JarStory) -> dict[str, Any]:
    verdict, growth = story.verdict, story.growth
    cover = verdict.coverage
    ready = {
        name: day.isoformat() if day else None
        for name, day in (
            ("ready_date", growth.ready_date),
            ("ready_low", growth.ready_low),
            ("ready_high", growth.ready_high),
        )
    }
    return {
        "jar": verdict.jar,
        "species": verdict.species,
        "verdict": verdict.verdict,
        "reasons": list(verdict.reasons),
        "findings": [_finding(finding) for finding in verdict.findings],
        "coverage_percent": round(cover.percent, 1) if cover else None,
        "coverage_low": round(cover.low, 1) if cover else None,
        "coverage_high": round(cover.high, 1) if cover else None,
        **ready,
        "flags": [
            {
                "flag": flag.flag,
                "severity": FLAGS[flag.flag].severity,
                "date": flag.day.isoformat() if flag.day else None,
                "message": flag.message,
            }
            for flag in story.flags
        ],
        "patches": [
            _patch(patch, day.day) for day in story.history.days[-1:] for patch in day.patches
        ],
    }


def _patch(patch: TrackedPatch, day: date) -> dict[str, Any]:
    first = patch.first_day.isoformat() if patch.first_day else None
    return {**asdict(patch), "first_day": first, "date": day.isoformat()}


def _finding(finding: Finding) -> dict[str, Any]:
    """Return a finding as data: its word, and the facts that its sentence tells."""
    numbers = {k: v if math.isfinite(v) else None for k, v in finding.numbers.items()}
    dates = {name: day.isoformat() for name, day in finding.dates.items()}
    return {
        "finding": finding.word,
        "verdict": finding.verdict,
        "flag": finding.flag,
        "date": finding.day.isoformat() if finding.day else None,
        "facts": {**finding.names, **dates, **numbers},
    }


def _photo(reading: Reading) -> dict[str, Any]:
    cover = reading.coverage
    return {
        "photo": reading.photo,
        "jar": reading.jar,
        "view": reading.view,
        "taken_at": reading.taken_at.isoformat(timespec="seconds"),
        "status": reading.status,
        "reason": reading.reason,
        "detail": reading.detail,
        "coverage_percent": round(cover.percent, 1) if cover else None,
        "coverage_low": round(cover.low, 1) if cover else None,
        "coverage_high": round(cover.high, 1) if cover else None,
        "card_values": reading.card_values,
        "card_values_de00": reading.card_values_de00,
        "overlay": reading.overlay,
    }
