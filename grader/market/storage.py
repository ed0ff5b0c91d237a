"""Storage of pictures and results: on this machine, or in object storage by URL; fsspec reads and writes."""

from __future__ import annotations

import fsspec

from calibration.errors import UsageError


def files_at(url: str) -> tuple[fsspec.AbstractFileSystem, str]:
    """The file system of a path or URL, and the path in it.

    Raises:
        UsageError: ``storage-missing``: the package for this kind of storage is not installed; ``storage-unknown``.
        OSError: if it cannot be reached.
    """
    kind = fsspec.utils.get_protocol(url)
    try:
        found: tuple[fsspec.AbstractFileSystem, str] = fsspec.url_to_fs(url)
    except ImportError as error:
        # fsspec names the package
        raise UsageError(
            "storage-missing",
            f"Nothing that reads {kind}:// is installed: {error}.",
            "Install that package beside this program, here and on every worker.",
        ) from error
    except ValueError as error:
        raise UsageError(
            "storage-unknown",
            f"{url} cannot be read ({error}).",
            "Name a folder or file, or a URL that fsspec reads, such as s3://bucket/folder.",
        ) from error
    return found
