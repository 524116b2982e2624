"""What callers give, as files on a desk."""

import importlib
import io
import os
import re
import stat
from collections.abc import Sequence
from typing import Any, Protocol, TypeAlias, runtime_checkable

from numpy.typing import NDArray

from holdover._native import Desk, Refused, Table


@runtime_checkable
class Frame(Protocol):
    """A table of pandas, polars, pyarrow or another that speaks Arrow's C stream."""

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object: ...


# A path is read; text and bytes are a file's content as they stand.
Given: TypeAlias = (
    str | bytes | bytearray | memoryview | os.PathLike[str] | Sequence[str] | Frame
)

@runtime_checkable
class Column(Protocol):
    """A column of pandas, polars, pyarrow or another that speaks Arrow's C array."""

    def __arrow_c_array__(
        self, requested_schema: object | None = None
    ) -> tuple[object, object]: ...


class Array(Protocol):
    """Whatever numpy takes for an array."""

    def __array__(self) -> NDArray[Any]: ...


# Captures of one length: words (1-D), bits or packed bytes (2-D), packed bytes, an
# Arrow column, text or numbers. `Layout.decode` says how each is read.
Captures: TypeAlias = (
    NDArray[Any] | bytes | bytearray | Sequence[str] | Sequence[int] | Frame | Column | Array
)

# Words that a command would take for a capture, not for a file's name.
_LIKE_A_CAPTURE = re.compile(r"[01\s_:-]*|0[xX].*", re.DOTALL)


def put(desk: Desk, given: Given, otherwise: str) -> str:
    """Puts what is given on the desk; its name there.

    A path keeps its own name, so that answers and mistakes name it as the
    command does; anything else is called `otherwise`.
    """
    if isinstance(given, os.PathLike):
        path = os.fspath(given)
        if not isinstance(path, str):
            raise TypeError("a path is text, not bytes")
        name = f"./{path}" if _LIKE_A_CAPTURE.fullmatch(path) else path
        desk.put(name, _file(path))
        return name
    desk.put(otherwise, _content(given))
    return otherwise


def _file(path: str) -> bytes:
    with open(path, "rb") as file:
        # A device would never end.
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise Refused(f"{path}: no ordinary file: read it and give its bytes")
        return file.read()


def _content(given: Any) -> bytes:
    if isinstance(given, str):
        if "\n" not in given and len(given) < 1024 and _exists(given):
            raise Refused(
                f"{given!r} is text, and there is a file of that name: give "
                f"pathlib.Path({given!r}) to have it read"
            )
        return _utf8(given)
    if isinstance(given, (bytes, bytearray, memoryview)):
        return bytes(given)
    if isinstance(given, Table):
        return _utf8(given.to_toml())
    if isinstance(given, (list, tuple)):
        wrong = next((item for item in given if not isinstance(item, str)), None)
        if wrong is not None:
            raise TypeError(f"a list is of captures as text, and holds a {type(wrong).__name__}")
        return _utf8("\n".join(given) + "\n")
    csv = _csv(given)
    if csv is None:
        raise TypeError(
            "expected a path, text, bytes, a list of text or a data frame, "
            f"found {type(given).__name__}"
        )
    return csv


def _exists(name: str) -> bool:
    try:
        return os.path.exists(name)
    except ValueError:
        return False


def _utf8(text: str) -> bytes:
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        raise Refused(f"the text has half a character at {error.start}: {error.reason}") from None


def _csv(frame: Any) -> bytes | None:
    """A data frame as CSV; None for anything else."""
    if not hasattr(frame, "__arrow_c_stream__"):
        return None
    if hasattr(frame, "to_csv") and hasattr(frame, "convert_dtypes"):
        # pandas: whole numbers with gaps are floats there, and would be
        # written 4321.0.
        frame = frame.to_frame() if hasattr(frame, "to_frame") else frame
        return _utf8(frame.convert_dtypes().to_csv(index=False))
    if hasattr(frame, "write_csv"):
        text = frame.write_csv()
        return text if isinstance(text, bytes) else _utf8(text)
    try:
        arrow = importlib.import_module("pyarrow")
        csv = importlib.import_module("pyarrow.csv")
    except ImportError:
        raise TypeError(
            f"a {type(frame).__name__} needs pyarrow to be written as CSV: install it, or give CSV"
        ) from None
    out = io.BytesIO()
    csv.write_csv(arrow.table(frame), out)
    return out.getvalue()
