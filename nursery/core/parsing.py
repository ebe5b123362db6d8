"""Reads a JSON body strictly, so that nothing odd goes further in than the door.

UTF-8 only, no larger than `DATA_UPLOAD_MAX_MEMORY_SIZE`, no name twice in one object, no numbers
outside of JSON, no NUL and no half of a surrogate pair in any text (neither database keeps them).
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import IO, Any, NoReturn

from django.conf import settings
from rest_framework.parsers import JSONParser
from rest_framework.renderers import JSONRenderer

from nursery.core.errors import Path, Problem, Refused
from nursery.core.problems import BodyTooLarge

_ESCAPED = re.compile(r"\\u(?:0000|[dD][89a-fA-F])")
_UNKEEPABLE = re.compile("[\x00\ud800-\udfff]")
_CHUNK = 65_536


class StrictJSONParser(JSONParser):
    """Raises Refused (`json_malformed`, `control_character`) or BodyTooLarge (`body_too_large`)."""

    media_type = "application/json"
    renderer_class = JSONRenderer

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        return parse_json(_read(stream, settings.DATA_UPLOAD_MAX_MEMORY_SIZE))


def parse_json(body: bytes) -> Any:
    """The value of a JSON text. Raises Refused (`json_malformed`, `control_character`)."""
    try:
        text = body.decode("utf-8-sig")
        value = json.loads(
            text,
            parse_constant=_no_constant,
            parse_float=_finite,
            object_pairs_hook=_once,
        )
    except UnicodeDecodeError as error:
        raise _malformed("The body is not UTF-8.") from error
    except RecursionError as error:
        raise _malformed("The body is nested too deeply.") from error
    except ValueError as error:
        raise _malformed(f"The body is not JSON: {error}.") from error
    # Looking at every text costs time: it is done only where an escape could have made a bad one.
    if _ESCAPED.search(text):
        for path in _unkeepable(value, ()):
            raise Refused(
                Problem(
                    "control_character",
                    "The text holds a character that cannot be kept (NUL or half a pair).",
                    path,
                )
            )
    return value


def _read(stream: IO[Any], most: int) -> bytes:
    parts: list[bytes] = []
    size = 0
    while part := stream.read(_CHUNK):
        parts.append(part)
        size += len(part)
        if size > most:
            raise BodyTooLarge(
                Problem("body_too_large", f"One call may send {most} bytes. Send it in parts.")
            )
    return b"".join(parts)


def _malformed(message: str) -> Refused:
    return Refused(Problem("json_malformed", message))


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number in JSON")


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text} is too large a number")
    return number


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        twice, _ = Counter(name for name, _ in pairs).most_common(1)[0]
        raise ValueError(f"{twice!r} is given twice in one object")
    return found


def _unkeepable(value: Any, path: Path) -> Iterator[Path]:
    """Where texts stand that no database keeps."""
    if isinstance(value, str):
        if _UNKEEPABLE.search(value):
            yield path
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from _unkeepable(inner, (*path, place))
    elif isinstance(value, dict):
        for name, inner in value.items():
            if _UNKEEPABLE.search(name):
                yield path
            else:
                yield from _unkeepable(inner, (*path, name))
