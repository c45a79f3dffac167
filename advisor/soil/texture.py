"""Soil textures: how much water each holds for the grass, and how readily rain runs off it."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

__all__ = ["TEXTURES", "SoilTexture", "UnknownTexture", "soil_texture"]

_FAO = "typical, from memory, within the ranges of FAO-56 Table 19 (ranges from memory too)"
_FAO_36 = "FAO-56 Example 36; within the ranges of Table 19 (ranges from memory)"
_SAXTON = "typical, from memory, after Saxton and Rawls (2006); the texture is not in FAO-56 Table 19"


class UnknownTexture(ValueError):
    """A soil texture that is not in the table."""


@dataclass(frozen=True, slots=True)
class SoilTexture:
    """One texture class.

    Parameters
    ----------
    name : str
        Texture class of the US Department of Agriculture.
    field_capacity, wilting_point : float
        Water held a day or two after soaking, and water left when roots can take no more [m3/m3].
    hydrologic_group : str
        Hydrologic soil group A (soaks in) to D (runs off), a default for a soil that is not compacted.
    field_capacity_range, wilting_point_range : tuple of float or None
        The range that the table quotes for the class [m3/m3]; None where the table has no such class.
    source : str
        Where the two single values come from.
    from_memory : bool
        True where the single values were not read in a source.
    """

    name: str
    field_capacity: float
    wilting_point: float
    hydrologic_group: str
    field_capacity_range: tuple[float, float] | None
    wilting_point_range: tuple[float, float] | None
    source: str
    from_memory: bool = True


# The groups follow the texture list of TR-55, appendix A (from memory); silt, which that list leaves out,
# is put with silt loam. A built-over or compacted lawn drains worse than its texture says: let the site
# override it.
_ROWS = (
    SoilTexture("sand", 0.12, 0.045, "A", (0.07, 0.17), (0.02, 0.07), _FAO),
    SoilTexture("loamy sand", 0.15, 0.06, "A", (0.11, 0.19), (0.03, 0.10), _FAO_36, from_memory=False),
    SoilTexture("sandy loam", 0.23, 0.11, "A", (0.18, 0.28), (0.06, 0.16), _FAO),
    SoilTexture("loam", 0.25, 0.12, "B", (0.20, 0.30), (0.07, 0.17), _FAO),
    SoilTexture("silt loam", 0.29, 0.15, "B", (0.22, 0.36), (0.09, 0.21), _FAO),
    SoilTexture("silt", 0.32, 0.15, "B", (0.28, 0.36), (0.12, 0.22), _FAO_36, from_memory=False),
    SoilTexture("sandy clay loam", 0.27, 0.17, "C", None, None, _SAXTON),
    SoilTexture("clay loam", 0.36, 0.22, "D", None, None, _SAXTON),
    SoilTexture("silty clay loam", 0.34, 0.21, "D", (0.30, 0.37), (0.17, 0.24), _FAO),
    SoilTexture("sandy clay", 0.36, 0.25, "D", None, None, _SAXTON),
    SoilTexture("silty clay", 0.35, 0.23, "D", (0.30, 0.42), (0.17, 0.29), _FAO_36, from_memory=False),
    SoilTexture("clay", 0.36, 0.22, "D", (0.32, 0.40), (0.20, 0.24), _FAO),
)

TEXTURES: dict[str, SoilTexture] = {row.name: row for row in _ROWS}


def soil_texture(name: str) -> SoilTexture:
    """Look a texture up by its name; case, spaces, hyphens and underscores do not matter.

    Parameters
    ----------
    name : str
        Name of the class, such as ``"silt loam"`` or ``"Silt-Loam"``.

    Returns
    -------
    SoilTexture

    Raises
    ------
    UnknownTexture
        When the name is not in the table; the message proposes the nearest names.

    Notes
    -----
    The single values are typical ones. Publications that quote the same FAO-56 table disagree among
    themselves by as much as a third, so a measured value always beats this table.

    References
    ----------
    Allen RG, Pereira LS, Raes D, Smith M (1998) Crop evapotranspiration. FAO Irrigation and Drainage Paper
    56, Table 19 and Example 36. Saxton KE, Rawls WJ (2006) Soil water characteristic estimates by texture
    and organic matter for hydrologic solutions. Soil Sci. Soc. Am. J. 70:1569-1578. USDA (1986) Urban
    hydrology for small watersheds. Technical Release 55, appendix A.
    """
    wanted = " ".join(str(name).replace("-", " ").replace("_", " ").lower().split())
    if wanted in TEXTURES:
        return TEXTURES[wanted]
    near = difflib.get_close_matches(wanted, TEXTURES, n=3, cutoff=0.5)
    hint = (
        f"did you mean {' or '.join(repr(item) for item in near)}?"
        if near
        else "it is not close to any known name."
    )
    raise UnknownTexture(
        f"Soil texture {name!r} is not known: {hint} Use one of: {', '.join(TEXTURES)}; "
        "or give field capacity and wilting point yourself."
    )
