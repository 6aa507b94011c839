"""Where things lie: the data folder, its sub-folders, and what speaks against the chosen place.

Does not open the log and writes nothing except the folders themselves.
"""

import fnmatch
import os
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from benchguide.store.durable import make_folder
from benchguide.store.problems import StoreProblem

ENVIRONMENT = "BENCHGUIDE_DATA"
LOW_DISK_BYTES = 1_000_000_000

#: File system types that are another computer (names as in /proc/mounts, statfs(2) and mount(8)).
NETWORK_TYPES = frozenset(
    {"nfs", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "afs", "ncp", "ncpfs", "9p", "virtiofs"}
    | {"ceph", "glusterfs", "lustre", "beegfs", "ocfs2", "gfs2", "davfs", "webdav", "sshfs", "afpfs"}
)
#: User-space file systems on a local disk; every other fuse.* may be a network behind it.
LOCAL_FUSE_TYPES = frozenset({"fuse.ext2", "fuse.exfat", "fuse.ntfs", "fuse.ntfs-3g", "fuse.bindfs"})
#: Names that file synchronisation leaves in the top folder it watches.
SYNC_MARKS = (".sync", ".sync.*", ".sync_*", "._sync_*", ".*sync*.db", ".stfolder", ".stfolder.*", ".csync*")
#: Parent folders under which systems mount synchronised storage (lower case).
SYNC_PARENTS = ("cloudstorage", "mobile documents")
_CLOUD_REPARSE_TAG = 0x9000001A  # IO_REPARSE_TAG_CLOUD; the nibble 0xF000 counts its variants


class Places(NamedTuple):
    """Paths inside one data folder."""

    folder: Path
    database: Path
    photos: Path
    thumbs: Path
    aside: Path
    lock: Path
    pulse: Path
    rescued: Path

    @classmethod
    def at(cls, folder: Path) -> "Places":
        return cls(
            folder,
            folder / "sessions.db",
            folder / "photos",
            folder / "thumbs",
            folder / "aside",
            folder / "writer.lock",
            folder / "pulse.bin",
            folder / "rescued.db",
        )


def data_folder(argument: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """The data folder: the `--data` argument, else BENCHGUIDE_DATA, else the platform's. Not created."""
    if argument is not None and str(argument):
        return Path(argument).expanduser().absolute()
    if environ.get(ENVIRONMENT):
        return Path(environ[ENVIRONMENT]).expanduser().absolute()
    import platformdirs

    return Path(platformdirs.user_data_dir("benchguide", appauthor=False))


def prepare(folder: Path) -> Places:
    """Create the data folder with its sub-folders. Raises StoreProblem with one sentence."""
    places = Places.at(folder)
    try:
        for path in (places.photos, places.thumbs, places.aside):
            make_folder(path)
    except OSError as error:
        raise StoreProblem(
            f"The data folder {folder} cannot be made ({error.strerror}); choose another one with --data."
        ) from error
    if not writable(folder):
        raise StoreProblem(read_only_sentence(folder))
    return places


def writable(folder: Path) -> bool:
    """Whether files can be made here: asked of the system, nothing is written."""
    return os.access(folder, os.W_OK | os.X_OK)


def read_only_sentence(folder: Path) -> str:
    return (
        f"The data folder {folder} is read-only, so nothing can be kept there; "
        "give yourself write permission or choose another one with --data."
    )


def free_bytes(folder: Path) -> int:
    """Bytes free for this user on the file system the folder is (or will be) on. Raises OSError."""
    import shutil

    return shutil.disk_usage(_nearest(folder)).free


def storage_warnings(
    folder: Path, *, low_disk: int = LOW_DISK_BYTES, mounts: Path = Path("/proc/mounts")
) -> list[str]:
    """One sentence for each thing that makes this a doubtful place for a log. Empty when fine.

    `low_disk` in bytes. Writes nothing; the folder need not exist yet.
    """
    place = _nearest(folder)
    found = []
    network = _network_type(place, mounts)
    if network:
        found.append(
            f"The data folder {folder} is on a network drive ({network}), where locks and durable writes "
            "cannot be relied on; choose a folder on a local disk with --data."
        )
    mark = _sync_mark(place)
    if mark:
        found.append(
            f"The data folder {folder} seems to be synchronised with another computer ({mark}), which can "
            "damage a log that is in use; choose a folder outside it with --data."
        )
    if not writable(place):
        found.append(read_only_sentence(folder))
    free = free_bytes(place)
    if free < low_disk:
        found.append(
            f"Only {free // 1_000_000} MB are free where photos are kept ({folder}); "
            "make room before starting a job."
        )
    return found


def _nearest(folder: Path) -> Path:
    """The folder itself, resolved, or the nearest parent that exists."""
    place = folder.absolute()
    while not place.exists() and place != place.parent:
        place = place.parent
    return place.resolve()


def _network_type(place: Path, mounts: Path) -> str | None:
    if str(place).startswith(("\\\\", "//")):
        return "UNC path"
    try:
        table = mounts.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return None  # no such table on this system
    kind = _mount_type(place, table)
    if kind is None:
        return None
    other_fuse = kind.startswith("fuse.") and kind not in LOCAL_FUSE_TYPES
    return kind if kind in NETWORK_TYPES or other_fuse else None


def _mount_type(place: Path, table: str) -> str | None:
    """File system type of the deepest mount point above `place`; the last of equal ones is on top."""
    best: tuple[int, str] | None = None
    for line in table.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        # proc(5): space, tab, newline and backslash are written as octal escapes
        point = fields[1].replace("\\040", " ").replace("\\011", "\t").replace("\\012", "\n")
        point = point.replace("\\134", "\\")
        if place.is_relative_to(point):
            depth = len(Path(point).parts)
            if best is None or depth >= best[0]:
                best = (depth, fields[2])
    return best[1] if best else None


def _sync_mark(place: Path) -> str | None:
    for folder in (place, *place.parents):
        if folder.name.lower() in SYNC_PARENTS:
            return str(folder)
        if _is_cloud_folder(folder):
            return f"{folder} is a cloud folder"
        try:
            with os.scandir(folder) as entries:
                for entry in entries:
                    if any(fnmatch.fnmatch(entry.name, mark) for mark in SYNC_MARKS):
                        return f"{folder / entry.name} exists"
        except OSError:
            continue  # a parent we may not list says nothing
    return None


def _is_cloud_folder(folder: Path) -> bool:
    """Windows marks folders of synchronised storage with a reparse tag; other systems have no such field."""
    try:
        tag = getattr(folder.lstat(), "st_reparse_tag", 0)
    except OSError:
        return False
    return bool((tag & 0xFFFF0FFF) == _CLOUD_REPARSE_TAG)
