"""Files with a whole section that a design names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from conegap.geometries.design.design_file import Complaints
from conegap.geometries.design.kinds import WHOLE_EMITTERS
from conegap.geometries.emitters.whole_file import ImportedFile
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import Files

__all__ = ["imported_files"]


def imported_files(
    document: Mapping[str, Any], files: Files, complaints: Complaints, digest: Any
) -> dict[str, ImportedFile]:
    """The drawing or mesh that a design names, by its name.

    Parameters
    ----------
    document : mapping
        The parsed design file.
    complaints : Complaints
        Collects what is wrong.
    digest : hashlib hash
        Takes the file's content in.
    """
    part = document.get("emitter")
    kind = WHOLE_EMITTERS.get(str(part.get("kind"))) if isinstance(part, Mapping) else None
    place = part.get("file") if isinstance(part, Mapping) else None
    if kind is None or not isinstance(place, str):
        return {}
    try:
        content = files.content(place)
        found = kind.read(content, place)
    except DesignError as problem:
        complaints.add("emitter.file", str(problem))
        return {}
    digest.update(content)
    return {place: found}
