"""Where people are told: list, add, change, remove, send a test message. No address is ever shown."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from underlid.alerts.route_check import checked
from underlid.alerts.routes import Route, RouteRules
from underlid.rules.finding import Priority
from underlid.storage.records import RouteNews
from underlid.storage.records.routes import ADDRESS_MOST_CHARS, LABEL_MOST_CHARS
from underlid.timeline import rfc3339
from underlid.web.api.schemas import ProblemBody
from underlid.web.context import Context, context_of
from underlid.web.problem import Problem, not_found
from underlid.web.trial import send_trial
from underlid.web.visitor import AnyCaller, Caller, WritingCaller

Least = Literal["low", "medium", "high", "critical", "none"]

router = APIRouter(
    prefix="/api/v1/addresses",
    tags=["addresses"],
    responses={
        403: {"model": ProblemBody, "description": "Somebody else's, and the role is not lead"},
        404: {"model": ProblemBody, "description": "No such person or address"},
        422: {"model": ProblemBody, "description": "Not accepted; the detail says why"},
    },
)


class RulesFields(BaseModel):
    """What is told at an address."""

    model_config = ConfigDict(extra="forbid")

    label: str = Field("", max_length=LABEL_MOST_CHARS, examples=["my phone"])
    least: Least = Field("low", description="Alerts from this priority on; none for no alerts.")
    sheds: list[str] = Field([], description="Only these; of all where no shed or bin is named.")
    bins: list[str] = []
    quiet: str = Field("", description="Own quiet hours; empty for the setting's.", max_length=11)
    unacknowledged_min: int = Field(
        0, description="Told only what nobody has acknowledged for so many minutes."
    )
    digest_hour: int | None = Field(None, description="Hour of the daily digest; null for none.")
    digest_always: bool = Field(False, description="The digest comes with nothing to say as well.")
    units: str = Field("", pattern="^(si|us)?$", description="Empty: those of the setting.")

    def rules(self, context: Context) -> RouteRules:
        """Return the rules, checked against the set-up."""
        rules = RouteRules(
            None if self.least == "none" else Priority(self.least),
            tuple(self.sheds),
            tuple(self.bins),
            self.quiet,
            self.unacknowledged_min,
            self.digest_hour,
            self.digest_always,
            self.units,
        )
        return checked(rules, context.records.setup())


class AddressFields(RulesFields):
    """A new address of somebody."""

    person: str | None = Field(None, description="Whose; may be left out by who is logged in.")
    address: str = Field(
        max_length=ADDRESS_MOST_CHARS,
        description="E-mail address, notification address, or push subscription. Not shown again.",
        examples=["ash@bins.example"],
    )


class NewsBody(BaseModel):
    """What became of a message."""

    state: str = Field(description="waiting, sent, dead (given up), or spared (not sent).")
    said: str = Field(description="What the channel said last, if it did not take it.")
    at: str | None = Field(description="When it was taken or given up.")

    @classmethod
    def of(cls, news: RouteNews | None) -> NewsBody | None:
        """Return it as the interface shows it."""
        if news is None:
            return None
        at = None if news.done_at_ms is None else rfc3339(news.done_at_ms)
        return cls(state=news.state, said=news.said, at=at)


class AddressBody(RulesFields):
    """An address as it is kept, without the address."""

    id: str
    person: str
    kind: str = Field(description="What may be shown of it.", examples=["e-mail a…@bins.example"])
    channel: str = Field(description="Its name in the lists of messages and in the log.")
    newest: NewsBody | None = Field(description="What became of the newest message for it.")

    @classmethod
    def shown(cls, context: Context, route: Route) -> AddressBody:
        """Return an address as the interface shows it."""
        rules = route.rules
        return cls(
            id=route.id,
            person=route.person,
            kind=route.hint,
            channel=route.channel,
            newest=NewsBody.of(context.records.last_delivery(route)),
            label=route.label,
            least=rules.least.value if rules.least else "none",
            sheds=list(rules.sheds),
            bins=list(rules.bins),
            quiet=rules.quiet,
            unacknowledged_min=rules.unacknowledged_min,
            digest_hour=rules.digest_hour,
            digest_always=rules.digest_always,
            units=rules.units,
        )


@router.get("")
def list_addresses(
    request: Request, caller: AnyCaller, person: str | None = None
) -> list[AddressBody]:
    """Return somebody's addresses; everybody's to a lead who names nobody."""
    context = context_of(request)
    whose = None if person is None and caller.role == "lead" else _allowed(context, caller, person)
    return [AddressBody.shown(context, one) for one in context.records.routes(whose)]


@router.post("", status_code=201)
def add_address(request: Request, caller: WritingCaller, fields: AddressFields) -> AddressBody:
    """Keep one more address of somebody."""
    context = context_of(request)
    person = _allowed(context, caller, fields.person)
    address = fields.address.strip()
    hint, rules = context.hint_of(address), fields.rules(context)
    now_ms = context.clock.now_ms()
    made = context.records.add_route(person, address, hint, fields.label, rules, now_ms)
    return AddressBody.shown(context, made)


@router.put("/{address_id}")
def change_address(
    request: Request, caller: WritingCaller, address_id: str, fields: RulesFields
) -> AddressBody:
    """Change what an address is told; the address itself stays."""
    context = context_of(request)
    route = _theirs(context, caller, address_id)
    rules = fields.rules(context)
    now_ms = context.clock.now_ms()
    return AddressBody.shown(
        context, context.records.change_route(route.id, fields.label, rules, now_ms)
    )


@router.delete("/{address_id}", status_code=204)
def remove_address(request: Request, caller: AnyCaller, address_id: str) -> None:
    """Forget an address; one's own also with the role reader."""
    context = context_of(request)
    context.records.remove_route(_theirs(context, caller, address_id).id)


@router.post(
    "/{address_id}/test",
    responses={429: {"model": ProblemBody, "description": "Too many test messages"}},
)
def test_address(request: Request, caller: WritingCaller, address_id: str) -> NewsBody | None:
    """Send a test message; waits up to 8 s for what becomes of it."""
    context = context_of(request)
    route = _theirs(context, caller, address_id)
    return NewsBody.of(send_trial(context, route, _asker(caller)))


def _asker(caller: Caller) -> str:
    return caller.name if caller.is_person else "A program"


def _allowed(context: Context, caller: Caller, person: str | None) -> str:
    """Return whose addresses are meant, when the caller may see to them."""
    own = caller.name if caller.is_person else None
    whose = own if person is None else person
    if whose is None:
        raise Problem(422, "A token is nobody's. Name the person.")
    if whose != own and caller.role != "lead":
        raise Problem(403, "Only the role lead may see to where somebody else is told.")
    if all(one.name != whose for one in context.records.people()):
        raise not_found("person", whose)
    return whose


def _theirs(context: Context, caller: Caller, address_id: str) -> Route:
    """Return an address that the caller may see to."""
    for route in context.records.routes():
        if route.id == address_id:
            _allowed(context, caller, route.person)
            return route
    raise not_found("address", address_id)
