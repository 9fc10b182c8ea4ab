"""The place of a result: held by one run at a time, filled in one step.

Comes in: the folder that the user named. Goes out: a new folder beside it to build in, which takes
its place when it is whole. Whenever the run is killed, the folder holds the earlier result or the
new one; what a killed run leaves beside it, the next run clears away.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, NoReturn

from reclaim.site.problems import Check, SiteError

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

_held: dict[Path, int] = {}
"""Places that this process holds, and how many times over."""


@contextmanager
def claimed(place: Path, written: str) -> Iterator[None]:
    """Hold a place for this process, so that no other run writes there meanwhile.

    Parameters
    ----------
    place
        The folder, resolved; it need not be there yet.
    written
        As the user wrote it, for the message.

    Raises
    ------
    SiteError
        Where another run holds it, or its parent cannot be written.

    Notes
    -----
    The claim is a locked file beside the folder. The system lets go of it when the process ends,
    however it ends.
    """
    if place in _held:
        _held[place] += 1
        try:
            yield
        finally:
            _held[place] -= 1
        return
    claim = place.with_name(f".{place.name}.claim")
    file = _locked(claim, written)
    _held[place] = 1
    try:
        yield
    finally:
        del _held[place]
        with suppress(OSError):
            claim.unlink()
        os.close(file)


def _locked(claim: Path, written: str) -> int:
    """Return the open, locked claim file."""
    while True:
        try:
            claim.parent.mkdir(parents=True, exist_ok=True)
            file = os.open(claim, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            _stop(
                written,
                f"The folder cannot be made: {error.strerror}.",
                "Name a place you may write to.",
            )
        if not _lock(file):
            number = os.read(file, 20).decode("ascii", "replace").strip()
            os.close(file)
            _stop(
                written,
                f"Another run{f' (process {number})' if number else ''} is writing here.",
                "Wait until it is done, or name another folder.",
            )
        # Its last holder may have taken the file away between opening and locking.
        with suppress(OSError):
            if os.path.samestat(os.fstat(file), claim.stat()):
                os.truncate(file, 0)
                os.write(file, f"{os.getpid()}\n".encode())
                return file
        os.close(file)


def _lock(file: int) -> bool:
    """Lock an open file for this process; False where another one has it."""
    if sys.platform == "win32":  # pragma: no cover - not run where the tests are
        import msvcrt

        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        # Some network file systems know no locks; better unheld than unusable.
        return True
    return True


@contextmanager
def built_beside(
    place: Path, written: str, ours: Collection[str], *, fill_empty: bool = False
) -> Iterator[Path]:
    """Give a new folder on the same file system; when all went well, put it in place.

    Parameters
    ----------
    place, written
        As for `claimed`; the place is claimed meanwhile.
    ours
        Names that belong to a result. Anything else at the top of an earlier result is the user's
        and is in the new one too.
    fill_empty
        Move the files into a folder that is there and empty, since somebody may stand in it; it
        takes as many steps as there are names.

    Raises
    ------
    SiteError
        Where the folder cannot be made or filled, or another run holds the place.
    """
    with claimed(place, written):
        recover(place, ours)
        try:
            folder = Path(mkdtemp(prefix=f".{place.name}.new-", dir=place.parent))
        except OSError as error:
            _stop(
                written,
                f"The folder cannot be made: {error.strerror}.",
                "Name a place you may write to.",
            )
        try:
            yield folder
            _open_to_readers(folder)
            if place.is_dir():
                _carry_over(place, folder, ours)
            _to_disk(folder)
            if fill_empty and place.is_dir() and not any(place.iterdir()):
                for path in sorted(folder.iterdir(), reverse=True):
                    path.rename(place / path.name)
            else:
                _put_in_place(folder, place)
        except OSError as error:
            if error.errno is None:
                raise
            _stop(
                written,
                f"Writing failed: {error.strerror}.",
                "Free some space or name another place; an earlier result is as it was.",
            )
        finally:
            # Half a result, or the earlier one when all went well.
            if place.is_dir():
                _clear(folder, place, ours)
            else:
                shutil.rmtree(folder, ignore_errors=True)


def recover(place: Path, ours: Collection[str]) -> None:
    """Clear away what killed runs left beside a place; the place must be claimed.

    Where a run was killed while the earlier result was out of its place, that is put back.
    """
    left = re.compile(rf"\.{re.escape(place.name)}\.(new|old)-[a-z0-9_]{{8}}")
    if not place.parent.is_dir():
        return
    found = [path for path in place.parent.iterdir() if left.fullmatch(path.name)]
    found = [path for path in found if path.is_dir() and not path.is_symlink()]
    earlier = [path for path in found if ".old-" in path.name]
    if earlier and not place.exists():
        earlier.sort(key=lambda path: path.stat().st_mtime)
        earlier[-1].rename(place)
        found.remove(earlier[-1])
    for folder in found:
        _clear(folder, place, ours)


def _clear(folder: Path, place: Path, ours: Collection[str]) -> None:
    """Take a folder of ours away; what is in it and not ours goes to the place first."""
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        if path.name not in ours and not (place / path.name).exists():
            with suppress(OSError):
                place.mkdir(exist_ok=True)
                path.rename(place / path.name)
    shutil.rmtree(folder, ignore_errors=True)


def _carry_over(place: Path, folder: Path, ours: Collection[str]) -> None:
    """Have the user's files at the top of an earlier result in the new one too."""
    for path in place.iterdir():
        if path.name in ours:
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.copytree(path, folder / path.name, symlinks=True, copy_function=_linked)
        else:
            _linked(path, folder / path.name)


def _linked(source: str | Path, target: str | Path) -> None:
    """Give a file a second name, or copy it where the file system knows no such thing."""
    try:
        os.link(source, target, follow_symlinks=False)
    except OSError:
        shutil.copy2(source, target, follow_symlinks=False)


def _to_disk(folder: Path) -> None:
    """Have every file on the disk before the folder takes its place."""
    for path in (*folder.rglob("*"), folder):
        if path.is_symlink() or (path.is_dir() and sys.platform == "win32"):
            continue
        try:
            file = os.open(path, os.O_RDONLY)
        except PermissionError:  # a file of the user's that is closed to us and linked all the same
            continue
        try:
            os.fsync(file)
        finally:
            os.close(file)


def _put_in_place(folder: Path, place: Path) -> None:
    """Put a finished folder in place; `folder` is the earlier result afterwards, if any."""
    if not place.exists():
        folder.rename(place)
    elif not _exchanged(folder, place):
        earlier = folder.with_name(folder.name.replace(".new-", ".old-"))
        place.rename(earlier)
        try:
            folder.rename(place)
        except BaseException:
            earlier.rename(place)
            raise
        earlier.rename(folder)


def _exchanged(one: Path, other: Path) -> bool:
    """Let two folders change names in one step; False where the system does not know how."""
    import ctypes

    if sys.platform not in {"linux", "darwin"}:
        return False
    library = ctypes.CDLL(None, use_errno=True)
    paths = os.fsencode(one), os.fsencode(other)
    try:
        if sys.platform == "linux":
            here, exchange = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of linux/fs.h
            failed = library.renameat2(here, paths[0], here, paths[1], exchange)
        else:
            swap = 2  # RENAME_SWAP of sys/stdio.h
            failed = library.renamex_np(*paths, swap)
    except AttributeError:
        return False
    if failed:
        import errno

        number = ctypes.get_errno()
        if number in {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP}:
            return False
        raise OSError(number, os.strerror(number))
    return True


def _open_to_readers(folder: Path) -> None:
    """Give a folder made for its owner alone the rights that new folders have here."""
    mask = os.umask(0)
    os.umask(mask)
    folder.chmod(0o777 & ~mask)


def _stop(where: str, what: str, what_to_do: str) -> NoReturn:
    raise SiteError([Check("error", where, what, what_to_do)])
