"""The files of a Data Package: found in a folder or a zip file, and checked against their checksums."""

import json
from pathlib import Path
from typing import Any

from testpour.common.archive import Archive
from testpour.common.problems import Problems
from testpour.common.text_file import DEEPEST, TextProblem, json_depth, read_bytes
from testpour.exchange.package_schema import DESCRIPTOR, HISTORY, PICTURE, checksum, declarations

LARGEST = 200_000_000  # bytes, unpacked; a hundred thousand pours with eight readings take a quarter of it
LARGEST_DESCRIPTOR = 5_000_000  # bytes of a descriptor


class PackageProblems(Problems):
    """A Data Package cannot be used; `where` says which, `problems` lists each reason."""


class Files:
    """The files of a package in a folder or a zip file, each read by its name.

    Only regular files are opened: a link may lead anywhere, and a pipe never ends.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.parent if path.name == DESCRIPTOR else path
        self._archive = None
        if not self.path.exists():
            raise PackageProblems(path.name, [f"nothing at {path}. Give the package's folder or zip file."])
        if not self.path.is_dir():
            try:
                self._archive = Archive(self.path, "a Data Package, which is a folder or a zip file", LARGEST)
            except TextProblem as problem:
                raise PackageProblems(path.name, [str(problem)]) from None

    def read(self, name: str) -> bytes | None:
        """The bytes of a file; None if it is not there. PackageProblems if it is a link, too large or damaged."""
        try:
            if self._archive:
                return self._archive.read(name)
            path = self.path / name
            if path.resolve() != self.path.resolve() / name:
                raise TextProblem("it is a link to another place. Put the file itself there.")
            return read_bytes(path, LARGEST) if path.exists() else None
        except (TextProblem, ValueError, OSError) as problem:
            raise PackageProblems(self.path.name, [f"{name[:80]}: {problem}"]) from None


def read_descriptor(files: Files) -> dict[str, Any]:
    """The descriptor of a package, parsed from its JSON; PackageProblems unless it has a list of resources."""
    data = files.read(DESCRIPTOR)
    if data is None:
        advice = "If a folder in it has one, or a study.toml, unpack it and give that folder."
        raise PackageProblems(files.path.name, [f"has no {DESCRIPTOR}, so it is not a Data Package. {advice}"])
    try:
        text = data[:LARGEST_DESCRIPTOR].decode("utf-8-sig")
        if len(data) > LARGEST_DESCRIPTOR or json_depth(text) > DEEPEST:
            raise ValueError(f"larger than {LARGEST_DESCRIPTOR / 1e6:g} MB" if len(data) > LARGEST_DESCRIPTOR else "nested too deeply")
        head = json.loads(text)
    except (ValueError, RecursionError) as problem:
        raise PackageProblems(files.path.name, [f"{DESCRIPTOR} is not readable as JSON: {problem}. Ask for it again."]) from None
    resources = head.get("resources") if isinstance(head, dict) else None
    if not isinstance(resources, list) or not all(isinstance(r, dict) for r in resources):
        raise PackageProblems(files.path.name, [f"{DESCRIPTOR} lists no resources, so it is not a Data Package."])
    return head


def verified_tables(files: Files, head: dict[str, Any], problems: list[str]) -> dict[str, bytes]:
    """The bytes of each table that is listed, present and unchanged; no other file is opened."""
    listed = {str(resource.get("name")): resource for resource in head["resources"]}
    needed, data = [*declarations(), "pours", "readings"], {}
    for name in [*needed, *(n for n in HISTORY if any(h in listed for h in HISTORY))]:
        content = files.read(f"{name}.csv")
        if name not in listed:
            problems.append(f"{DESCRIPTOR}: lists no table {name}.")
        elif listed[name].get("path") != f"{name}.csv":
            problems.append(f"{DESCRIPTOR}: {name} must be in {name}.csv.")
        elif content is None:
            problems.append(f"{name}.csv: listed, but not there. Ask for the package again.")
        elif listed[name].get("hash") != checksum(content):
            problems.append(f"{name}.csv: changed since it was written: its checksum differs. Ask for it again.")
        else:
            data[name] = content
    return data


def verified_pictures(files: Files, head: dict[str, Any], problems: list[str]) -> tuple[str, ...]:
    """The paths of the photographs that are listed, present and unchanged; the others are added to `problems`."""
    verified = []
    for resource in head["resources"]:
        path = str(resource.get("path"))
        if not str(resource.get("name")).startswith("photo-"):
            continue
        named = PICTURE.fullmatch(path)
        data = files.read(path) if named else None
        if named is None or data is None or not checksum(data) == resource.get("hash") == f"sha256:{named[1]}":
            problems.append(f"{path}: a photograph that is not there or was changed. Ask for the package again.")
        else:
            verified.append(path)
    return tuple(verified)
