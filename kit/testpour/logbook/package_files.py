"""The files of a Data Package: found in a folder or a zip file, and held against their checksums."""

import json
import zipfile

from testpour.logbook.package_schema import DESCRIPTOR, HISTORY, PICTURE, checksum, declarations
from testpour.problems import Problems

LARGEST = 200_000_000  # bytes of one file; a hundred thousand pours with eight readings take a quarter of it


class PackageProblems(Problems):
    """A Data Package cannot be used; `where` says which, `problems` lists each reason."""

    def __init__(self, where, problems):
        super().__init__(where, problems)
        self.where = where


class Files:
    """The files of a package in a folder or a zip file, each read by its plain name."""

    def __init__(self, path):
        self.path = path.parent if path.name == DESCRIPTOR else path
        if not self.path.exists():
            raise PackageProblems(path.name, [f"nothing at {path}. Give the package's folder or zip file."])
        if not self.path.is_dir() and not zipfile.is_zipfile(self.path):
            raise PackageProblems(path.name, ["neither a folder nor a zip file, so no Data Package."])

    def read(self, name):
        """The bytes of a file; None where it is not there."""
        try:
            if self.path.is_dir():
                return (self.path / name).read_bytes() if (self.path / name).stat().st_size <= LARGEST else b""
            with zipfile.ZipFile(self.path) as held, held.open(name) as file:
                return file.read(LARGEST)
        except (FileNotFoundError, KeyError):
            return None
        except (OSError, zipfile.BadZipFile, RuntimeError, ValueError, EOFError) as problem:
            raise PackageProblems(self.path.name, [f"{name} cannot be read: {problem}. Ask for it again."]) from None


def read_descriptor(files):
    data = files.read(DESCRIPTOR)
    if data is None:
        raise PackageProblems(files.path.name, [f"has no {DESCRIPTOR}, so it is no Data Package."])
    try:
        head = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as problem:
        raise PackageProblems(files.path.name, [f"{DESCRIPTOR} is not readable as JSON: {problem}."]) from None
    resources = head.get("resources") if isinstance(head, dict) else None
    if not isinstance(resources, list) or not all(isinstance(r, dict) for r in resources):
        raise PackageProblems(files.path.name, [f"{DESCRIPTOR} lists no resources, so it is no Data Package."])
    return head


def unchanged(files, head, problems):
    """The bytes of each table that is listed, there and unchanged; only the names we write are opened."""
    listed = {str(resource.get("name")): resource for resource in head["resources"]}
    needed, data = [*declarations(), "pours", "readings"], {}
    for name in [*needed, *(n for n in HISTORY if any(h in listed for h in HISTORY))]:
        found = files.read(f"{name}.csv")
        if name not in listed:
            problems.append(f"{DESCRIPTOR}: lists no table {name}.")
        elif listed[name].get("path") != f"{name}.csv":
            problems.append(f"{DESCRIPTOR}: {name} must lie in {name}.csv.")
        elif found is None:
            problems.append(f"{name}.csv: listed, but not there. Ask for the package again.")
        elif listed[name].get("hash") != checksum(found):
            problems.append(f"{name}.csv: changed since it was written: its checksum is another. Ask for it again.")
        else:
            data[name] = found
    return data


def pictures(files, head, problems):
    """The paths of the photographs that are listed, there and unchanged."""
    found = []
    for resource in head["resources"]:
        path = str(resource.get("path"))
        if not str(resource.get("name")).startswith("photo-"):
            continue
        data = files.read(path) if PICTURE.fullmatch(path) else None
        if data is None or not checksum(data) == resource.get("hash") == f"sha256:{PICTURE.fullmatch(path)[1]}":
            problems.append(f"{path}: a photograph that is not there or was changed. Ask for the package again.")
        else:
            found.append(path)
    return tuple(found)
