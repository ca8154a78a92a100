"""Sets aside a manifest that cannot be used, so that a new one can be begun.

In: an output folder on this machine, and what is wrong with its manifest. Out: nothing in the manifest's place, and a line for the user.
"""

from __future__ import annotations

import errno
import os
import sqlite3

from lickwright.core.atomic_files import move_file
from lickwright.store.guarded_database import BESIDE, DAMAGED, Unusable, check_pages, is_damage, is_doubtful
from lickwright.store.manifest import NAME, Manifest
from lickwright.store.ownership import UnsafePath
from lickwright.store.storage import Say

ASIDE = NAME + ".old"  # what stood in the manifest's place and could not be used


def set_aside_message(folder: str, error: Exception) -> str:
    """Return the message about the manifest of `folder`, which cannot be used because of `error`."""
    why = error if isinstance(error, Unusable) else DAMAGED
    return f"{os.path.join(folder, NAME)} is set aside: {why}; what is in the folder is checked again"


def _look_again(folder: str) -> None:
    """Raise OSError if the manifest is well, or cannot be read."""
    try:
        with Manifest(folder, write=False) as manifest:
            check_pages(manifest.db, indexes=True)  # else an index that leads nowhere would be met again by every build
    except (Unusable, sqlite3.DatabaseError) as e:
        if is_damage(e):
            return
        raise
    raise OSError(errno.EIO, f"{NAME} could not be read for a moment: run the command again")


def set_aside(folder: str, error: Exception, say: Say) -> None:
    """Move what stands in the manifest's place to `.lickwright.db.old` because of `error`, and announce it with `say`.

    Raises OSError, also where a second look finds nothing wrong: for one page that the disk would not read no record is given up.
    """
    if is_doubtful(error):
        _look_again(folder)
    say(set_aside_message(folder, error))
    path = os.path.join(folder, NAME)
    try:
        move_file(path, os.path.join(folder, ASIDE))
    except FileNotFoundError:  # only something beside it was wrong
        pass
    except (IsADirectoryError, NotADirectoryError, FileExistsError):
        raise UnsafePath(f"{ASIDE} is in the way: move it away") from None
    except OSError as e:
        if e.errno == errno.ENOTEMPTY:
            raise UnsafePath(f"{ASIDE} is in the way: move it away") from None
        raise
    for rest in BESIDE:  # they belong to the moved file: SQLite must not apply them to a new one
        try:
            os.unlink(path + rest)
        except FileNotFoundError:
            pass
        except (IsADirectoryError, PermissionError):
            if os.path.isdir(path + rest):
                raise UnsafePath(f"{NAME}{rest} is a folder and not ours: move it away") from None
            raise
