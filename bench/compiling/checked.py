"""numba's files of compiled code, read only if they are what this user wrote, and whole.

Such a file is a pickle: whoever can write it runs code as whoever reads it. And one that was cut
short, by a full disk for one, would end the process. So each carries a hash of its content, is
read only if it is the user's own and writable by nobody else, and is as good as missing otherwise;
one that cannot be written is left out.
"""

from __future__ import annotations

import hashlib
import io
import os
import pickle
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from numba.core import caching

_Base: Any = caching.IndexDataCacheFile
_DIGEST = 32


def is_own(found: os.stat_result) -> bool:
    """Say whether a file or folder is this user's, and writable by nobody else."""
    others = stat.S_IWGRP | stat.S_IWOTH
    is_mine = not hasattr(os, "getuid") or found.st_uid == os.getuid()
    return is_mine and not found.st_mode & others


class CheckedFile(_Base):  # type: ignore[misc]
    """Index and data files of one function, as numba keeps them, with a hash at their end."""

    def save(self, key: Any, data: Any) -> None:
        """Keep an entry; where the disk is full, or has gone, it is not kept."""
        try:
            super().save(key, data)
        except OSError:
            return

    def load(self, key: Any) -> Any:
        """Return an entry, None if there is none to be trusted."""
        try:
            return super().load(key)
        except Exception:  # whatever a pickle of another making may raise
            return None

    def _load_index(self) -> Any:
        content = self._content(self._index_path)
        if content is None:
            return {}
        stream = io.BytesIO(content)
        if pickle.load(stream) != self._version:
            return {}
        stamp, overloads = pickle.load(stream)
        return overloads if stamp == self._source_stamp else {}

    def _save_index(self, overloads: Any) -> None:
        version = pickle.dumps(self._version, protocol=-1)
        self._write(self._index_path, version + self._dump((self._source_stamp, overloads)))

    def _load_data(self, name: str) -> Any:
        content = self._content(self._data_path(name))
        if content is None:
            raise FileNotFoundError(name)
        return pickle.loads(content)

    def _save_data(self, name: str, data: Any) -> None:
        self._write(self._data_path(name), self._dump(data))

    def _content(self, path: str) -> bytes | None:
        """Return what was written under a path, None if anything about it is not as it should."""
        try:
            handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
            with open(handle, "rb") as stream:
                found = os.fstat(handle)
                if not stat.S_ISREG(found.st_mode) or not is_own(found):
                    return None
                content = stream.read()
        except OSError:
            return None
        body, digest = content[:-_DIGEST], content[-_DIGEST:]
        return body if hashlib.sha256(body).digest() == digest else None

    def _write(self, path: str, body: bytes) -> None:
        with self._open_for_write(path) as stream:
            os.fchmod(stream.fileno(), 0o600)
            stream.write(body + hashlib.sha256(body).digest())


@contextmanager
def checked_files() -> Iterator[None]:
    """Let functions decorated in the `with` body keep their compiled code in such files."""
    before: Any = caching.IndexDataCacheFile
    caching.IndexDataCacheFile = CheckedFile  # type: ignore[misc]
    try:
        yield
    finally:
        caching.IndexDataCacheFile = before  # type: ignore[misc]
