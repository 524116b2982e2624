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


# Headings of captures, as the reader of CSV has them.
_BITS = {"bits", "bit", "raw", "raw bits", "capture", "wiegand", "binary"}


def _csv(given: Any) -> bytes | None:
    """A data frame, or one column of captures, as CSV; None for anything else."""
    if hasattr(given, "to_csv") and hasattr(given, "convert_dtypes"):
        return _pandas(given)
    if hasattr(given, "write_csv") or hasattr(given, "to_frame"):
        return _polars(given)
    if not hasattr(given, "__arrow_c_stream__") and not hasattr(given, "__arrow_c_array__"):
        return None
    try:
        arrow = importlib.import_module("pyarrow")
        csv = importlib.import_module("pyarrow.csv")
    except ImportError:
        raise TypeError(
            f"a {type(given).__name__} needs pyarrow to be written as CSV: install it, or give CSV"
        ) from None
    columns = isinstance(given, (arrow.Array, arrow.ChunkedArray))
    table = arrow.table({"bits": given} if columns else given)
    for field in table.schema:
        kinds = arrow.types
        _refuse_numbers(field.name, kinds.is_integer(field.type) or kinds.is_floating(field.type))
    out = io.BytesIO()
    csv.write_csv(table, out)
    return out.getvalue()


def _pandas(given: Any) -> bytes:
    frame = given.to_frame("bits") if hasattr(given, "to_frame") else given
    if frame.shape[1] == 1 and not isinstance(frame.columns[0], str):
        # A column without a name would be written as "0", which is a capture.
        frame = frame.set_axis(["bits"], axis=1)
    # Whole numbers with gaps are floats there, and would be written 4321.0.
    frame = frame.convert_dtypes()
    for name, kind in frame.dtypes.items():
        # Integers beyond 64 bits are objects.
        large = kind == object and any(isinstance(cell, int) for cell in frame[name])
        _refuse_numbers(name, large or getattr(kind, "kind", "") in ("i", "u", "f"))
    return _utf8(frame.to_csv(index=False))


def _polars(given: Any) -> bytes:
    frame = given if hasattr(given, "write_csv") else given.to_frame("bits")
    for name, kind in frame.schema.items():
        _refuse_numbers(name, kind.is_numeric())
    text: str | bytes = frame.write_csv()
    return text if isinstance(text, bytes) else _utf8(text)


def _refuse_numbers(name: object, numbers: bool) -> None:
    """Refuses captures as numbers: the zeros in front are lost."""
    heading = " ".join(re.sub(r"[_.-]", " ", str(name)).lower().split())
    if numbers and heading in _BITS:
        raise Refused(
            f"the column {name!r} holds numbers, which have lost the zeros in front: read it as "
            "text, with dtype=str (pandas) or infer_schema=False (polars)"
        )
