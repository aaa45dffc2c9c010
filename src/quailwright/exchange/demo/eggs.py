"""The eggs on the shelf, by group and lay date."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date


@dataclass(slots=True)
class EggStore:
    """Eggs on hand by lay date and group. What leaves is the oldest, hatching eggs the freshest."""

    lots: dict[tuple[date, str], int] = field(default_factory=dict)

    def put(self, laid: date, group: str, eggs: int) -> None:
        """Puts a day's eggs of a group on the shelf."""
        self.lots[laid, group] = self.lots.get((laid, group), 0) + eggs

    def on_hand(self, group: str | None = None, since: date | None = None) -> int:
        """Eggs there, of all groups or one, of all days or from one on."""
        return sum(self.lots[lot] for lot in self._fitting(group, since))

    def take_oldest(self, eggs: int, group: str | None = None, since: date | None = None) -> None:
        """Takes eggs for the kitchen or a buyer. The caller has looked that they are there."""
        self._take(eggs, sorted(self._fitting(group, since)))

    def take_freshest(self, eggs: int, group: str, since: date) -> tuple[date, date]:
        """Takes eggs to set; gives their first and last lay date."""
        taken = self._take(eggs, sorted(self._fitting(group, since), reverse=True))
        return taken[-1], taken[0]

    def take_laid_on(self, eggs: int, group: str, laid: date) -> None:
        """Takes eggs of one day and group, such as cracked ones."""
        self._take(eggs, [(laid, group)])

    def _fitting(self, group: str | None, since: date | None) -> Iterator[tuple[date, str]]:
        for laid, of in self.lots:
            if (group is None or of == group) and (since is None or laid >= since):
                yield laid, of

    def _take(self, eggs: int, lots: list[tuple[date, str]]) -> list[date]:
        taken: list[date] = []
        for lot in lots:
            part = min(eggs, self.lots[lot])
            self.lots[lot] -= part
            eggs -= part
            if part:
                taken.append(lot[0])
            if not self.lots[lot]:
                del self.lots[lot]
            if not eggs:
                break
        return taken
