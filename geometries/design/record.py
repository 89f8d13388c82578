"""A design from the record that its report folder keeps, so that a report can be solved again.

The record (`Design.record`) holds the parsed design file and the points of the tables it names;
drawings and meshes are only named in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import FilesInMemory

__all__ = ["design_of_record", "with_entries"]


def design_of_record(record: Mapping[str, Any], where: str) -> Design:
    """The design of a record, checked like any design file.

    Parameters
    ----------
    record : mapping
        From `Design.record`, perhaps by way of JSON.
    where : str
        What to call it in messages.

    Raises
    ------
    DesignError
        The record is damaged, names a drawing or a mesh, or the design in it is wrong.
    """
    import tomlkit

    try:
        source, document = str(record["source"]), dict(record["document"])
        files, tables = list(record["files"]), dict(record["tables_m"])
        texts = {str(name): _points_text(points) for name, points in tables.items()}
        text = tomlkit.dumps(document)
    except (KeyError, TypeError, ValueError) as problem:
        raise DesignError(
            f"{where}: the record of the design in it is damaged ({problem!r}); name the design "
            "file itself, or compute the report again"
        ) from problem
    if files:
        raise DesignError(
            f"{where}: the design was read from {', '.join(map(str, files))}, which the report "
            "folder does not hold; name the design file itself"
        )
    return Design.from_text(text, source, FilesInMemory(texts))


def with_entries(record: Mapping[str, Any], other: Mapping[str, Any], keys: Sequence[str]) -> Any:
    """A record with entries of another one in place of its own.

    Parameters
    ----------
    record, other : mapping
        From `Design.record`.
    keys : sequence of str
        Keys of the design file, "liquid.metal"; one that the other record lacks is taken out.

    Returns
    -------
    dict
        A record.
    """
    document = {
        name: dict(table) if isinstance(table, Mapping) else table
        for name, table in record["document"].items()
    }
    for key in keys:
        section, _, name = key.partition(".")
        given = other["document"].get(section, {})
        here = document.setdefault(section, {})
        if name in given:
            here[name] = given[name]
        else:
            here.pop(name, None)
    return {
        "source": f"{record['source']} with {', '.join(keys)} of {other['source']}",
        "document": document,
        "tables_m": {**record["tables_m"], **other["tables_m"]},
        "files": list(dict.fromkeys([*record["files"], *other["files"]])),
    }


def _points_text(points: Sequence[Sequence[float]]) -> str:
    """Points as the CSV file that a design names, in metres, with every digit."""
    rows = [f"{float(x)!r},{float(z)!r}" for x, z in points]
    return "\n".join(["x,z", "m,m", *rows]) + "\n"
