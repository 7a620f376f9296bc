"""The reference of OSC addresses, made from their one table; README.md holds what it prints."""

from collections.abc import Iterable

from meantide.live.addresses import ADDRESSES

OF_PARTS = """These play and set a part. Before each `/part/NAME` may stand; without it `main` is
meant, but where it says that all are:"""
OF_ALL = "And these are for the whole:"
HEAD = "| address | arguments | |\n|---|---|---|\n"


def reference() -> str:
    """Return the addresses as two tables, of parts and of the whole, in Markdown."""
    own = [path for path, address in ADDRESSES.items() if address.part_act is not None]
    whole = [path for path, address in ADDRESSES.items() if address.part_act is None]
    return f"{OF_PARTS}\n\n{_table(own)}\n{OF_ALL}\n\n{_table(whole)}".rstrip()


def _table(paths: Iterable[str]) -> str:
    rows = []
    for path in paths:
        address = ADDRESSES[path]
        everyone = "; without a part, all" if address.part_act and address.act else ""
        rows.append(f"| {path} | {address.wants} | {address.about}{everyone} |\n")
    return HEAD + "".join(rows)
