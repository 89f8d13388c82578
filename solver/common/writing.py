"""Writing results so that nothing half written is ever left behind.

A folder of results is built beside its place under a hidden name and moved there when it is
complete; an interrupted or failed run removes it.  Only folders that conegap wrote are replaced.
"""

from __future__ import annotations

import errno
import glob
import json
import os
import shutil
import stat
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from conegap.geometries.quantities.errors import OutputError

__all__ = [
    "MARKER",
    "file_system_refusals",
    "file_text",
    "is_result_folder",
    "json_text",
    "new_files",
    "new_folder",
]

MARKER = "results.json"
"""A folder is conegap's own when it holds this file with a conegap_version in it."""

_FILES = "files"
"""Key of the marker under which it lists the files of its folder; no other file is conegap's."""
_PARTIAL, _EARLIER = ".partial-", ".earlier-"
# At a place where another run may put its own result at the same moment.
_ATTEMPTS = 20
# What a killed run left is taken away once nothing has touched it for an hour, [s].
_QUIET = 3600.0
# Bytes free on the disk for a report folder: the field in three dimensions alone may take 20 MB.
_ROOM = 30_000_000
# The same for single files.
_ROOM_OF_FILES = 1_000_000


def json_text(results: Mapping[str, Any]) -> str:
    """Results as JSON, in the order given, with a line end.

    Parameters
    ----------
    results : mapping
        Ready for JSON; numbers in SI.
    """
    return json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _own_files(folder: Path) -> frozenset[str]:
    """Names of the files that a result folder's marker lists, with itself."""
    try:
        listed = json.loads((folder / MARKER).read_text(encoding="utf-8")).get(_FILES, [])
    except (OSError, ValueError, AttributeError):
        return frozenset()
    names = listed if isinstance(listed, list) else []
    return frozenset({MARKER, *(name for name in names if isinstance(name, str))})


def _list_files(folder: Path) -> None:
    """Enter the files of a finished folder in its marker, so that a later run knows its own."""
    place = folder / MARKER
    try:
        content = json.loads(place.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return
    if isinstance(content, dict):
        names = sorted(item.name for item in folder.iterdir())
        place.write_text(json_text({**content, _FILES: names}), encoding="utf-8")


def is_result_folder(folder: Path) -> bool:
    """Whether a folder holds results of conegap, by its marker.

    Parameters
    ----------
    folder : Path
    """
    try:
        content = json.loads((folder / MARKER).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(content, dict) and "conegap_version" in content


@contextmanager
def file_system_refusals(target: Path) -> Iterator[None]:
    """Turn a failure of the file system inside this block into a refusal in words.

    Parameters
    ----------
    target : Path
        What is being written, for the message.

    Raises
    ------
    OutputError
        The file system refused.
    """
    try:
        yield
    except OSError as problem:
        if problem.errno in (errno.ENOSPC, errno.EDQUOT):
            reason = "there is no room left on the disk"
        elif problem.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            reason = "no permission to write there"
        elif problem.errno == errno.ENOENT:
            reason = "its folder takes no new files, as those of the system's own tables do"
        else:
            reason = problem.strerror or str(problem)
        raise OutputError(
            f"{target} cannot be written: {reason}; nothing was left behind. Choose another place "
            "with --to"
        ) from problem


@contextmanager
def new_folder(place: str | Path, *, room: int = _ROOM) -> Iterator[Path]:
    """A folder to write into, which takes its place when the block ends without an exception.

    Everything that can be checked is checked before the block runs, so that no computation is
    lost on a place that cannot be written.

    Parameters
    ----------
    place : str or Path
        Where the folder shall be; an earlier result of conegap there is replaced.
    room : int
        Space that must be free, [bytes].

    Yields
    ------
    Path
        A temporary folder beside ``place``.

    Raises
    ------
    OutputError
        The place is taken by something else, cannot be written, or has no room.
    """
    target = _resolved(place)
    _check_replaceable(target)
    _check_room(target.parent, room)
    _tidy(target)
    partial = target.parent / f".{target.name}{_PARTIAL}{os.getpid()}"
    with file_system_refusals(target):
        partial.mkdir()
    try:
        yield partial
        _check_replaceable(target)
        with file_system_refusals(target):
            _list_files(partial)
            _move(partial, target)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


@contextmanager
def new_files(
    places: Sequence[str | Path],
    *,
    may_replace: Callable[[Path], bool],
    room: int = _ROOM_OF_FILES,
) -> Iterator[list[str | bytes]]:
    """Files that appear together when the block ends without an exception.

    Parameters
    ----------
    places : sequence of str or Path
        Where they shall be.
    may_replace : callable
        Whether an existing file may be replaced.
    room : int
        Space that must be free, [bytes].

    Yields
    ------
    list of str or bytes
        To be filled with the content, one entry per place.

    Raises
    ------
    OutputError
        A file exists already, or cannot be written.
    """
    targets = [_resolved(place) for place in places]
    for target in targets:
        if target.is_dir():
            raise OutputError(f"{target.name} is a folder; give the name of a file")
        if target.exists() and not may_replace(target):
            raise OutputError(
                f"{target.name} exists already and is left as it is; give another name with --to, "
                "or replace it with --force"
            )
        _check_room(target.parent, room)
    partial = [t.with_name(f".{t.name}.partial-{os.getpid()}") for t in targets]
    content: list[str | bytes] = []
    try:
        for leftover in partial:
            with file_system_refusals(leftover.parent):
                leftover.touch()
        yield content
        for leftover, data in zip(partial, content, strict=True):
            with file_system_refusals(leftover.parent):
                leftover.write_bytes(data.encode() if isinstance(data, str) else data)
        for leftover, target in zip(partial, targets, strict=True):
            with file_system_refusals(target):
                os.replace(leftover, target)
    finally:
        for leftover in partial:
            with suppress(OSError):
                leftover.unlink()


def file_text(place: Path) -> str:
    """The start of a file as text, "" where it cannot be read; for recognising our own files.

    Parameters
    ----------
    place : Path
    """
    try:
        with place.open("rb") as stream:
            return stream.read(4000).decode("utf-8", errors="replace")
    except OSError:
        return ""


def _resolved(place: str | Path) -> Path:
    """Absolute path without links.

    Raises
    ------
    OutputError
        The path names nothing that can be written, or is too long.
    """
    try:
        target = Path(place).expanduser().resolve()
    except (OSError, RuntimeError, ValueError) as problem:
        raise OutputError(f"'{place}' is no place that can be written: {problem}") from problem
    if not target.name:
        raise OutputError(f"'{place}' cannot be replaced by results; name a folder of its own")
    return target


def _check_room(parent: Path, room: int) -> None:
    try:
        present = parent.is_dir()
        usage = shutil.disk_usage(parent) if present else None
    except OSError as problem:
        raise OutputError(f"{parent} cannot be used: {problem.strerror}") from problem
    if usage is None:
        raise OutputError(
            f"there is no folder {parent}; make it first, or choose another place with --to"
        )
    # Where a file system names no size at all (/proc, /sys), only the attempt can tell.
    if usage.total > 0 and usage.free < room:
        raise OutputError(
            f"there is no room left in {parent}: {usage.free / 1e6:.1f} MB free, "
            f"{room / 1e6:g} MB needed; make room, or choose another place with --to"
        )


def _check_replaceable(target: Path) -> None:
    """Refuse to replace anything that conegap did not write."""
    # One look only: another run may move the place away between two.
    try:
        mode = target.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return
    except OSError as problem:
        raise OutputError(f"{target.name} cannot be read: {problem.strerror}") from problem
    if not stat.S_ISDIR(mode):
        raise OutputError(
            f"{target.name} is a file, and is left as it is; give another place with --to"
        )
    here = Path.cwd()
    if target == here or target in here.parents:
        raise OutputError(
            f"{target.name} is the current folder or holds it, and cannot be replaced as a whole; "
            "name a folder of its own with --to"
        )
    try:
        names = sorted(item.name for item in target.iterdir())
    except FileNotFoundError:
        return  # another run has just moved it away
    except OSError as problem:
        raise OutputError(f"{target.name} cannot be read: {problem.strerror}") from problem
    if not names:
        return
    # Another run may put its own result in the place of the one just listed.
    if not any(is_result_folder(target) or not target.exists() for _ in range(_ATTEMPTS)):
        raise OutputError(
            f"the folder {target.name} was not written by conegap (it has no {MARKER} of conegap) "
            "and is left as it is; give another place with --to"
        )
    own = _own_files(target)
    foreign = [name for name in names if name not in own]
    if foreign:
        raise OutputError(
            f"the folder {target.name} also holds {', '.join(foreign[:3])}, which conegap did not "
            "write; move that away first, or give another place with --to"
        )


def _move(partial: Path, target: Path) -> None:
    """Put a finished folder in its place, and take the earlier one away.

    Another run may put its own folder there at the same moment: the later one stays, whole.
    """
    earlier = target.with_name(f".{target.name}{_EARLIER}{os.getpid()}")
    for _ in range(_ATTEMPTS):
        try:
            os.rename(partial, target)
            break
        except OSError as problem:
            if problem.errno not in (errno.ENOTEMPTY, errno.EEXIST):
                _put_back(earlier, target)
                raise
        shutil.rmtree(earlier, ignore_errors=True)
        with suppress(FileNotFoundError):
            os.rename(target, earlier)
    else:
        _put_back(earlier, target)
        raise OSError(errno.EBUSY, "other programs keep writing to the same folder")
    shutil.rmtree(earlier, ignore_errors=True)


def _put_back(earlier: Path, target: Path) -> None:
    if earlier.exists() and not target.exists():
        os.rename(earlier, target)


def _tidy(target: Path) -> None:
    """Take away what a killed run left beside a folder; put an earlier result back in its place."""
    for leftover in sorted(target.parent.glob(f".{glob.escape(target.name)}.*-*")):
        kind, _, number = leftover.name.removeprefix(f".{target.name}").rpartition("-")
        if f"{kind}-" not in (_PARTIAL, _EARLIER) or not number.isdigit():
            continue
        try:
            quiet = time.time() - leftover.stat().st_mtime > _QUIET
            if not quiet or not leftover.is_dir() or _alive(int(number)):
                continue
            if f"{kind}-" == _EARLIER:
                _put_back(leftover, target)
        except OSError:
            continue
        shutil.rmtree(leftover, ignore_errors=True)


def _alive(process: int) -> bool:
    """Whether a process runs on this machine."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
