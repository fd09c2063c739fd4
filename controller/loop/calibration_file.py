"""Ice-point corrections on disk: ``STATE/calibration.json``, one entry per probe.

What cannot be read, or goes beyond the data sheet, is not applied, and is said.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import write_durably
from controller.sense.calibrate import OFFSET_MAX_K
from controller.vocabulary import ProbeId

SCHEMA = 1
_LARGEST_BYTES = 65_536


class Correction(BaseModel):
    """One probe's stored ice point."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    offset_k: float = Field(ge=-OFFSET_MAX_K, le=OFFSET_MAX_K)
    """Added to every raw reading."""
    residual_k: float = Field(ge=0.0)
    date_utc: str = Field(pattern=r"\d{4}-\d\d-\d\d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Every usable correction, and what was wrong with the rest."""

    corrections: Mapping[ProbeId, Correction]
    faults: tuple[str, ...] = ()

    def offset_k(self, probe: ProbeId) -> float:
        """What to add to this probe's raw readings; 0 where nothing is stored."""
        correction = self.corrections.get(probe)
        return 0.0 if correction is None else correction.offset_k


def load_calibration(path: Path) -> Calibration:
    """Read the corrections; a missing file means none, a bad one means none and says so."""
    try:
        document = json.loads(read_bounded(path, _LARGEST_BYTES).data)
        if not isinstance(document, dict) or document.get("schema") != SCHEMA:
            return _unusable(path, f"its schema is not {SCHEMA}")
        probes = document.get("probes")
        if not isinstance(probes, dict):
            return _unusable(path, "it has no table of probes")
    except FileNotFoundError:
        return Calibration(corrections={})
    except UnfitFile as error:
        return _unusable(path, f"it {error}")
    except (ValueError, RecursionError):
        return _unusable(path, "it is not JSON")
    corrections: dict[ProbeId, Correction] = {}
    faults: list[str] = []
    for probe, entry in probes.items():
        try:
            corrections[ProbeId(probe)] = Correction.model_validate(entry)
        except ValidationError as error:
            problem = "; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors())
            faults.append(f"{path}: {probe}: {problem}; not applied, repeat `frameward probes ice`")
    return Calibration(corrections=corrections, faults=tuple(faults))


def save_correction(path: Path, probe: ProbeId, correction: Correction) -> None:
    """Store one probe's correction beside the others; returns once it is safe on disk.

    Entries that could not be used are dropped. Raises StorageError when the disk will not take it.
    """
    kept: dict[str, Any] = {
        name: entry.model_dump() for name, entry in load_calibration(path).corrections.items()
    }
    kept[probe] = correction.model_dump()
    text = json.dumps({"schema": SCHEMA, "probes": kept}, indent=1, sort_keys=True)
    write_durably(path, f"{text}\n".encode())


def _unusable(path: Path, problem: str) -> Calibration:
    """No corrections at all, said once."""
    fault = f"{path}: {problem}; no probe is corrected, repeat `frameward probes ice` for each"
    return Calibration(corrections={}, faults=(fault,))
