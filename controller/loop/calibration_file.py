"""Ice-point corrections on disk: ``STATE/calibration.json``, one entry per probe.

What cannot be read, or goes beyond the data sheet, is not applied, and is said.
"""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.durable import write_durably
from controller.sense.calibrate import OFFSET_MAX_K
from controller.vocabulary import ProbeId

SCHEMA = 1
_BYTES_MAX = 65_536


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
        data = _read_bounded(path)
        document = json.loads(data)
        if not isinstance(document, dict) or document.get("schema") != SCHEMA:
            return _unusable(path, f"its schema is not {SCHEMA}")
        probes = document.get("probes")
        if not isinstance(probes, dict):
            return _unusable(path, "it has no table of probes")
    except FileNotFoundError:
        return Calibration(corrections={})
    except OSError as error:
        return _unusable(path, error.strerror or type(error).__name__)
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


def _read_bounded(path: Path) -> bytes:
    """The file's bytes; a pipe, a folder or a huge file is refused instead of waited for."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    with os.fdopen(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise ValueError("not a regular file")
        data = file.read(_BYTES_MAX + 1)
    if len(data) > _BYTES_MAX:
        raise ValueError("too long")
    return data


def _unusable(path: Path, problem: str) -> Calibration:
    """No corrections at all, said once."""
    fault = f"{path}: {problem}; no probe is corrected, repeat `frameward probes ice` for each"
    return Calibration(corrections={}, faults=(fault,))
