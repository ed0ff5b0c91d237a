"""Kinds of boards (memory modules, cheap cards, old boards) and the plating of their contacts.

They are in ``calibration/data/board_kinds.toml``, each with its source and its weak points. Boards of a kind are
plated with hard gold or with flash gold; the share of flash is itself unknown. All boards of one design have the same
plating. In a pile of many designs the flash share is that of the pile, and differences between designs average out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal, TypeAlias, get_args

import numpy as np

from calibration import quantiles
from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.errors import DataFileError, UsageError
from calibration.sourced import SourcedEntry, packaged, parse_entries

KindKey: TypeAlias = str
"""Key of a kind in ``board_kinds.toml``; one of ``KINDS_OF_BOARDS``."""

Designs = Literal["one", "many"]
DESIGNS: tuple[Designs, ...] = get_args(Designs)

UNKNOWN: KindKey = "unknown"
_FILE = "board_kinds"
_FIGURES = ("standard", "thin", "flash", "flash_share", "typical_sd_log")
_SHARES, _TYPICAL = 32, 16  # of a pile: values of the flash share, and of the typical hard gold at each
_KEYS = ("words", "like", "weight", "source", "how_known", *_FIGURES)


@dataclass(frozen=True)
class PlatingAssumptions:
    """Assumptions about the contacts of some boards: two inputs that are drawn together.

    Attributes:
        thickness: mean over their contacts, um.
        flash: share of them that are flash; 0 or 1 if all are plated alike. At the same chance as the thickness, it
            says whether that thickness is of flash gold.
    """

    thickness: Distribution
    flash: Distribution


@dataclass(frozen=True)
class BoardKind:
    """Assumptions about the edge contacts of one kind.

    Attributes:
        key: its name in the data file.
        words: name for people.
        hard: thickness of hard gold on boards of one design, um; a lognormal mixture of standard and thin.
        flash: thickness of flash gold on boards of one design, um; lognormal.
        flash_share: share of the kind's boards that are flash, 0..1, unknown: its logit is normal.
        typical_sd_log: spread of the logarithm of the typical hard gold, which all boards of the kind share.
        weight: relative frequency of the kind among lots whose kind nobody names.
        source: of the figures, and how they are known.
    """

    key: KindKey
    words: str
    hard: Distribution
    flash: Distribution
    flash_share: Distribution
    typical_sd_log: float
    weight: float
    source: str

    @property
    def mean_flash_share(self) -> float:
        """Chance that boards of one design are flash: the mean of the share."""
        return float(self.flash_share.at(_even(4000)).mean())

    def plating(self, designs: Designs = "one") -> PlatingAssumptions:
        """Assumptions about the contacts of some boards of this kind.

        Args:
            designs: "one" if all boards are plated alike, "many" if they are of many designs.
        """
        return self._of_many() if designs == "many" else self._of_one()

    def _of_one(self) -> PlatingAssumptions:
        chance = round(self.mean_flash_share, 4)
        weight, *standard_and_thin = self.hard.parameters
        first, other = standard_and_thin[:2], standard_and_thin[2:]
        hard = (1 - chance) * weight, *first, (1 - chance) * (1 - weight), *other
        return PlatingAssumptions(
            Distribution("lognormals", (*hard, chance, *self.flash.parameters)), Distribution("either", (chance,))
        )

    def _of_many(self) -> PlatingAssumptions:
        """Mean thickness of the pile: (1 - f) hard + f flash, f the flash share of the kind, each at its mean."""
        share, typical = np.meshgrid(self.flash_share.at(_even(_SHARES)), _even(_TYPICAL))
        hard = self.hard.at(_even(4000)).mean() * np.exp(
            self.typical_sd_log * quantiles.standard_normal(typical.ravel()) - self.typical_sd_log**2 / 2
        )
        flash = self.flash.at(_even(4000)).mean()
        f = share.ravel()
        order = np.argsort((1 - f) * hard + f * flash)
        thickness, f = ((1 - f) * hard + f * flash)[order], f[order]
        return PlatingAssumptions(Distribution("sample", _rounded(thickness)), Distribution("sample", _rounded(f)))


def board_kind(key: KindKey) -> BoardKind:
    """The kind of that key.

    Raises:
        UsageError: ``kind-unknown``.
    """
    if key not in _KINDS:
        raise _unknown(key)
    return _KINDS[key]


def kind_named(text: str) -> KindKey:
    """The key of the kind that a person names by its key or its words, in any case; empty text means not known.

    Raises:
        UsageError: ``kind-unknown``.
    """
    wanted = " ".join(text.casefold().replace("_", " ").replace("-", " ").split())
    if wanted in ("", "do not know", "not known"):
        return UNKNOWN
    for kind in _KINDS.values():
        if wanted in (kind.key.replace("_", " "), kind.words.casefold()):
            return kind.key
    raise _unknown(text.strip())


def _unknown(text: str) -> UsageError:
    known = ", ".join(k.words for k in _KINDS.values())
    return UsageError("kind-unknown", f"There is no kind of boards '{text}'.", f"Name one of: {known}.")


def density(plating: Distribution, um: FloatArray) -> FloatArray:
    """Density on the logarithm of a mixture of lognormals ("lognormals"), at thicknesses in um, (n,)."""
    p, log_um = plating.parameters, np.log(um)
    found = np.zeros_like(log_um)
    for weight, median, sigma in zip(p[::3], p[1::3], p[2::3], strict=True):
        found += weight * np.exp(-0.5 * ((log_um - np.log(median)) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    return found


def _kinds() -> Mapping[KindKey, BoardKind]:
    found: dict[KindKey, BoardKind] = {}
    tables: dict[KindKey, Mapping[str, Any]] = {}
    for key, entry in parse_entries(packaged(_FILE), _FILE).items():
        entry.only(*_KEYS)
        like = entry.table.get("like")
        if like is not None and like not in tables:
            raise _invalid(f"{entry.where}: there is no kind '{like}' above it.")
        figures = {
            **({} if like is None else tables[like]),
            **{k: v for k, v in entry.table.items() if k in _FIGURES},
        }
        tables[key] = figures
        found[key] = _kind(key, entry, figures)
    if UNKNOWN not in found:
        raise _invalid(f"{_FILE}: there is no kind '{UNKNOWN}'.")
    return MappingProxyType(found)


def _kind(key: KindKey, entry: SourcedEntry, figures: Mapping[str, Any]) -> BoardKind:
    def part(name: str) -> SourcedEntry:
        table = figures.get(name)
        if not isinstance(table, dict):
            raise _invalid(f"{entry.where}: {name} is missing.")
        return SourcedEntry(f"{entry.where}: {name}", table)

    standard, thin, flash, share = (part(name) for name in ("standard", "thin", "flash", "flash_share"))
    hard = (
        1 - thin.number("share"),
        standard.number("median_um"),
        standard.number("sigma_log"),
        thin.number("median_um"),
        thin.number("sigma_log"),
    )
    whole = SourcedEntry(entry.where, figures)
    return BoardKind(
        key,
        entry.text("words"),
        Distribution("lognormal_mixture", hard),
        Distribution("lognormal", (flash.number("median_um"), flash.number("sigma_log"))),
        Distribution("logit_normal", (share.number("median"), share.number("sd_logit"))),
        whole.number("typical_sd_log"),
        entry.number("weight"),
        f"{entry.text('source')} ({entry.text('how_known')})",
    )


def _invalid(message: str) -> DataFileError:
    return DataFileError("data-file-invalid", message, "Correct the file.")


def _even(n: int) -> FloatArray:
    """Middles of ``n`` equal pieces of 0..1."""
    return (np.arange(n) + 0.5) / n


def _rounded(values: FloatArray) -> tuple[float, ...]:
    return tuple(float(f"{x:.4g}") for x in values)


_KINDS = _kinds()
KINDS_OF_BOARDS: tuple[KindKey, ...] = tuple(_KINDS)
