"""What a page is asked, what is known to answer it, and how an answer is made of a template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.responses import HTMLResponse, RedirectResponse, Response

from growthcast.book.book import Table
from growthcast.desk.memory import Desk, Known
from growthcast.desk.phone_page import templates
from growthcast.desk.share import Share
from growthcast.errors import GrowthcastError
from growthcast.nouns import dataclass
from growthcast.say.locale import Locale
from growthcast.service.pages.overview import TankStanding


class NotThere(GrowthcastError):
    """A page is asked of what the book, or this desk, does not have."""


def render(
    template: str, locale: Locale, shell: Mapping[str, Any], status: int = 200, **given: Any
) -> HTMLResponse:
    """Return a page made of a template; ``shell`` is what stands around every page.

    With ``wait`` the browser asks again after so many seconds.
    """
    usual = {"logged": (), "note": "", "until": "", "practice": "growthcast"}
    text = (
        templates()
        .get_template(template)
        .render(
            t=lambda key, **values: locale.say(f"desk_{key}", **values),
            lang=locale.language,
            comma="," in locale.number(0.5, 1),
            link=link,
            **{**usual, **shell, **given},
        )
    )
    headers = {"cache-control": "no-store"}
    if given.get("wait"):  # an address with a fragment is asked again only without it
        headers |= {"refresh": f"{given['wait']}; url=?{shell['query']}"}
    return HTMLResponse(text, status, headers=headers)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page is asked, and what is known to answer it."""

    desk: Desk
    share: Share | None
    known: Known
    species: Table
    locale: Locale
    given: Mapping[str, str]
    shell: Mapping[str, Any]

    def page(self, template: str, status: int = 200, **given: Any) -> HTMLResponse:
        """Return a page made of a template and what it shows."""
        return render(template, self.locale, self.shell, status, **given)

    def get(self, name: str) -> str:
        """Return what was given under a name without blanks around it, "" for nothing."""
        return self.given.get(name, "").strip()

    def choice(self, name: str, among: Sequence[int], usual: int) -> int:
        """Return which of some numbers was given under a name."""
        return next((one for one in among if str(one) == self.get(name)), usual)

    def standing(self, tank_id: str) -> TankStanding:
        """Return how a tank stands; ``NotThere`` for no tank of the book."""
        found = self.known.standing(tank_id)
        if found is None:
            raise NotThere(self.locale.say("desk_no_tank"))
        return found

    def in_english(self, *sentences: str) -> list[str]:
        """Return sentences that there are in English only, none on a page of another language."""
        return [*sentences] if self.locale.language == "en" else []


def link(path: str, **values: object) -> str:
    """Return an address of the desk."""
    return f"{path}?{urlencode(values)}"


def see(path: str, **values: object) -> RedirectResponse:
    """Return where to look after something was written."""
    return RedirectResponse(link(path, **values) if values else path, 303)


def download(content: bytes, kind: str, name: str) -> Response:
    """Return a file to be saved; its name is one of ours."""
    shown = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return Response(content, media_type=kind, headers=shown)
