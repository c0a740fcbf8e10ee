"""How the wheel is packed: models and contracts of results in an archive each, a third of what they take alone."""

import zipfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# By archive: the folder that it stands for, and its files.
PACKED = {
    "pipeline/models/models.zip": ("pipeline/models", "*/*.sql"),
    "schemas/results.zip": ("schemas/results", "*.json"),
}
# As wheels have it: the same files give the same bytes.
MOMENT = (2020, 2, 2, 0, 0, 0)


class Packing(BuildHookInterface[Any]):
    """Puts many small files into few archives, unpacked within, so that the wheel packs them together."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Write the archives and name them among the files of the wheel; an editable one reads the files themselves."""
        if version == "editable":
            return
        for name, (folder, pattern) in PACKED.items():
            archive, inside = self._draft(name), Path(self.root, folder)
            archive.parent.mkdir(parents=True, exist_ok=True)
            with zipfile.ZipFile(archive, "w", zipfile.ZIP_STORED) as out:
                for path in sorted(inside.glob(pattern)):
                    out.writestr(zipfile.ZipInfo(path.relative_to(inside).as_posix(), MOMENT), path.read_bytes())
            build_data["force_include"][str(archive)] = name

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:  # noqa: ARG002
        """Take the archives away again: they are in the wheel."""
        for name in PACKED:
            self._draft(name).unlink(missing_ok=True)

    def _draft(self, name: str) -> Path:
        return Path(self.directory, Path(name).name)
