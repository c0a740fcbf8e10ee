"""The broken files before the reference implementation of Table Schema: its verdict stands in each story, `reference`.

`says` is what it finds in the broken file by our contracts, alone with the farm's other tables. `differs` says why that
is not what we find, and is there only then. `cannot` says why it cannot find what we find beyond: a rule over rows,
over tables, of a day or a setting, or one that does not call the file wrong.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from reference_verdicts import as_ours, reference_says, we_say
from test_broken import NAMES, file_of, story, write_farm

from pipeline.farm.folder import open_farm


def of_file(name: str) -> tuple[set[str], set[str]]:
    """What we find in the broken file, in the words of the reference; and by which rules it has no words for."""
    told = story(name)
    return we_say(told["table"], [each for each in told["findings"] if each["file"] == file_of(name)])


@pytest.mark.parametrize("name", NAMES)
def test_the_reference_says_what_the_story_records(name: str, tmp_path: Path) -> None:
    write_farm(tmp_path, name)
    assert reference_says(open_farm(tmp_path), story(name)["table"]) == story(name)["reference"]["says"]


@pytest.mark.parametrize("name", NAMES)
def test_every_difference_is_explained_and_every_explanation_is_of_a_difference(name: str) -> None:
    reference = story(name)["reference"]
    said, beyond = of_file(name)
    explained = {key for key in ("differs", "cannot") if reference.get(key, "").endswith(".")}
    assert set(reference) == {"says", *explained}
    assert ("differs" in reference) == (as_ours(reference["says"]) != said)
    assert ("cannot" in reference) == bool(beyond)


def test_where_the_reference_can_judge_it_mostly_says_the_same() -> None:
    references = {name: story(name)["reference"] for name in NAMES}
    agreed = [name for name, each in references.items() if set(each) == {"says"}]
    differing = [name for name, each in references.items() if "differs" in each]
    # Of each kind there are enough that the comparison can fail: cells, headers, whole files, keys within and between.
    kinds = {line.rpartition(": ")[2].partition(" ")[0] for name in agreed for line in references[name]["says"]}
    assert {"type-error", "constraint", "missing-label", "encoding-error", "primary-key", "foreign-key"} <= kinds
    assert len(agreed) >= 23
    assert len(differing) < len(agreed)
