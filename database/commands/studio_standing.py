"""Says where the studio stands and what to do next, where no command is typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from ..fits.standing import StudioStanding, ToDo

_MOST = 6


def show_standing() -> bool:
    """Say it of the studio in the current folder; False where there is none yet."""
    from ..store.studio import Studio

    studio = Studio.at()
    if studio.database is None or not studio.database.exists():
        return False
    from ..fits.standing import studio_standing
    from ..store.store import Store

    with Store.open(studio, create=False) as store:
        standing = studio_standing(store)
    _show(studio.folder.name, standing)
    return True


def _show(name: str, standing: StudioStanding) -> None:
    published = standing.published
    release = f"release {published.version}" if published else "nothing published"
    typer.echo(
        f"{name}: {_many(len(standing.tubes), 'tube')}, {_many(len(standing.cards), 'card')}, "
        f"{_many(len(standing.fitted), 'paint')} fitted, {release}."
    )
    for todo in standing.todo[:_MOST]:
        typer.echo(f"- {todo.words} {_how(todo)}")
    if len(standing.todo) > _MOST:
        typer.echo(f"- And {len(standing.todo) - _MOST} more: tintladder card")
    if not standing.todo:
        typer.echo(
            "Add your tubes: tintladder tubes add" if not standing.tubes else "Nothing waits."
        )
    typer.echo("All commands: tintladder --help")


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _how(todo: ToDo) -> str:
    from ..fits.standing import Do

    card = todo.card.name if todo.card else ""
    commands = {
        Do.FIT: "tintladder fit",
        Do.PUBLISH: "tintladder publish --preview",
        Do.MIX: 'tintladder recipe "62,-18,-9"',
        Do.PLAN_CARD: f"tintladder card {todo.tubes[0]}" if todo.tubes else "",
        Do.GO_ON_READING: f"tintladder measure --resume {card}",
        Do.SAY_GRAMS: f"tintladder card fill {card}",
        Do.READ_CARD: "tintladder scan or tintladder read",
    }
    return commands[todo.do]
