"""What a campaign says of itself: lines of the one table that `scripts/harden` prints."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class Line:
    """A line of the table.

    Attributes
    ----------
    campaign : str
        The campaign's name.
    what : str
        What was done to the program, in a few words.
    cases : int
        How many times.
    survivors : int
        Cases that ended as they must not; each is a bug.
    note : str
        What else the reader should know: counts, percentiles, what was skipped and why.
    examples : tuple of str
        How to repeat the first survivors.
    """

    campaign: str
    what: str
    cases: int
    survivors: int = 0
    note: str = ""
    examples: tuple[str, ...] = ()

    def as_json(self) -> dict:
        """The line as plain values."""
        return asdict(self)


def table(lines: list[Line]) -> str:
    """The lines under a heading, in columns; survivors' examples below.

    Parameters
    ----------
    lines : list of Line
        In the order in which they are to stand.

    Returns
    -------
    str
        Text without a line end.
    """
    rows = [("campaign", "what", "cases", "survivors")]
    rows += [(one.campaign, one.what, f"{one.cases:,}", str(one.survivors)) for one in lines]
    rows.append(("all", "", f"{sum(one.cases for one in lines):,}", str(sum(one.survivors for one in lines))))
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    notes = ["", *(one.note for one in lines), ""]
    text = []
    for row, note in zip(rows, notes, strict=True):
        cells = (
            row[0].ljust(widths[0]),
            row[1].ljust(widths[1]),
            row[2].rjust(widths[2]),
            row[3].rjust(widths[3]),
        )
        text.append("  ".join((*cells, note)).rstrip())
    ruled = "  ".join("-" * width for width in widths)
    text[1:1] = [ruled]
    text[-1:-1] = [ruled]
    for one in lines:
        text += [f"  {one.campaign}: {example}" for example in one.examples]
    return "\n".join(text)
