"""How the wheel is packed, so that it stays under a megabyte (10^6 bytes).

Models and contracts of results are in an archive each, a third of what they take alone. Modules have no docstrings, as
with `python -OO`, but those that commands show as their help, and no lines that are a comment; their lines are where
they were.
"""

import ast
import io
import shutil
import tokenize
import zipfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# By archive: the folder that it stands for, and its files.
PACKED = {
    "pipeline/models/models.zip": ("pipeline/models", "*/*.sql"),
    "schemas/results.zip": ("schemas/results", "*.json"),
}
PACKAGES = ("pipeline", "reports", "schemas")
BARE = "without_docstrings"
# Here docstrings are what `--help` shows.
SHOWN = Path("pipeline", "cli")
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
        for module in (each for name in PACKAGES for each in sorted(Path(self.root, name).rglob("*.py"))):
            inside = module.relative_to(self.root)
            draft = Path(self.directory, BARE, inside)
            draft.parent.mkdir(parents=True, exist_ok=True)
            text = without_comments(module.read_bytes())
            draft.write_bytes(text if SHOWN in inside.parents else without_docstrings(text))
            build_data["force_include"][str(draft)] = inside.as_posix()

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:  # noqa: ARG002
        """Take the archives away again: they are in the wheel."""
        for name in PACKED:
            self._draft(name).unlink(missing_ok=True)
        shutil.rmtree(Path(self.directory, BARE), ignore_errors=True)

    def _draft(self, name: str) -> Path:
        return Path(self.directory, Path(name).name)


def without_docstrings(module: bytes) -> bytes:
    """Return the module with "." for each docstring, and every line where it was. Not with none: a dataclass that has
    none makes itself one, which takes time.
    """
    lines = module.splitlines(keepends=True)
    with_one = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    for each in ast.walk(ast.parse(module)):
        if isinstance(each, with_one) and ast.get_docstring(each):
            text = each.body[0].value
            first, last = text.lineno - 1, text.end_lineno - 1
            begin, end = lines[first][: text.col_offset], lines[last][text.end_col_offset :]
            lines[first : last + 1] = [begin + b'"."' + end, *[b"\n"] * (last - first)]
    return b"".join(lines)


def without_comments(module: bytes) -> bytes:
    """Return the module with nothing in each line that is a comment, and every line where it was."""
    lines = module.splitlines(keepends=True)
    for each in tokenize.tokenize(io.BytesIO(module).readline):
        if each.type == tokenize.COMMENT and each.line.lstrip().startswith("#"):
            lines[each.start[0] - 1] = b"\n"
    return b"".join(lines)
