"""What the settings say about probes, for commands that work without settings too."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.config.parse import LARGEST_FILE_BYTES, decode_settings, parse_settings
from controller.config.records import Settings
from controller.errors import ConfigError
from controller.vocabulary import Place, ProbeId


@dataclass(frozen=True, slots=True, kw_only=True)
class Assigned:
    """What the settings say about probes, or why they say nothing."""

    settings: Settings | None
    remark: str = ""

    def places(self) -> dict[ProbeId, list[tuple[str, Place]]]:
        """Frames and places of each probe; several where frames share the outside one."""
        found: dict[ProbeId, list[tuple[str, Place]]] = {}
        frames = self.settings.frames if self.settings else {}
        for name, frame in frames.items():
            for place, probe in frame.probes.items():
                found.setdefault(probe, []).append((name, place))
        outside = self.settings.site.outside_probe if self.settings else None
        if outside is not None and outside not in found:
            found[outside] = [("site", Place.OUTSIDE)]
        return found

    def units(self) -> str:
        """The owner's unit; °C without settings."""
        return self.settings.site.units.value if self.settings else "celsius"


def read_assigned(config: Path) -> Assigned:
    """Settings where they can be used; this command works without them too."""
    try:
        text = decode_settings(read_bounded(config, LARGEST_FILE_BYTES).data, str(config))
        return Assigned(settings=parse_settings(text, str(config)))
    except FileNotFoundError:
        return Assigned(settings=None, remark=f"{config}: no settings yet, so no probe has a place")
    except UnfitFile as error:
        return Assigned(settings=None, remark=f"{config}: {error}, so no probe has a place")
    except ConfigError as error:
        return Assigned(
            settings=None,
            remark=f"{config}: {len(error.faults)} to mend, so no probe has a place; see `frameward check`",
        )
