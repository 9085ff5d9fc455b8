"""A third-party client's story: Python's grpcio knows nothing of Scionary but its address. It learns the
services by reflection, looks a cultivar up, makes an account, posts an offer, finds it, reads a rich error, and
opens a plan's calendar with a parser that is not ours (RFC 5545).

Usage: story.py HOST:PORT
"""

import datetime
import sys
import uuid

import grpc
import icalendar
from google.protobuf import descriptor_pool, message_factory
from google.rpc import error_details_pb2  # noqa: F401  (registers the detail types)
from grpc_reflection.v1alpha.proto_reflection_descriptor_database import ProtoReflectionDescriptorDatabase
from grpc_status import rpc_status


def main(address):
    channel = grpc.insecure_channel(address)
    database = ProtoReflectionDescriptorDatabase(channel)
    services = sorted(database.get_services())
    expected = {"AccountService", "CropService", "CultivarService", "OfferService", "ServerService"}
    assert {f"scionary.v1.{name}" for name in expected} <= set(services), services
    pool = descriptor_pool.DescriptorPool(database)

    def call(service, method, token=None, key=None, **fields):
        descriptor = pool.FindServiceByName(f"scionary.v1.{service}").FindMethodByName(method)
        request = message_factory.GetMessageClass(descriptor.input_type)(**fields)
        reply = message_factory.GetMessageClass(descriptor.output_type)
        metadata = [("idempotency-key", key or uuid.uuid4().hex)]
        if token:
            metadata.append(("authorization", f"Bearer {token}"))
        stub = channel.unary_unary(
            f"/scionary.v1.{service}/{method}",
            request_serializer=lambda m: m.SerializeToString(),
            response_deserializer=reply.FromString,
        )
        return stub(request, metadata=metadata, timeout=10)

    looked = call("CultivarService", "LookUpSeed", name="golek")
    assert "in part" in looked.report.headline and "64 % published" in looked.report.headline, looked.report.headline
    assert any(source.source_id == "LITZ-POLY" for source in looked.report.sources)

    handle = f"py-{uuid.uuid4().hex[:8]}"
    password = "brittle kettle orbit plank"
    call("AccountService", "SignUp", handle=handle, password=password)
    token = call("AccountService", "SignIn", handle=handle, password=password).token

    until = datetime.date.today() + datetime.timedelta(days=20)
    offer = {
        "cultivar": "R2E2",
        "material": "MATERIAL_SCION_WOOD",
        "quantity": 4,
        "terms": "TERMS_SWAP",
        "available_until": {"year": until.year, "month": until.month, "day": until.day},
        "place": {"area_code": "XB-NS", "grid_code": "2CGV2200+"},
        "hand_over": ["HAND_OVER_MEETING"],
        "health": {
            "grown_at": [{"unknown": True}],
            "form": "MATERIAL_FORM_LEAFLESS",
            "purpose": "PURPOSE_PLANTING",
            "symptoms": "OBSERVED_NO",
            "pests": "OBSERVED_NO",
            "sprayed": "OBSERVED_UNKNOWN",
        },
    }
    key = uuid.uuid4().hex
    posted = call("OfferService", "CreateOffer", token=token, key=key, offer=offer).offer
    again = call("OfferService", "CreateOffer", token=token, key=key, offer=offer).offer
    assert posted.offer_id == again.offer_id, "a repeat under the same key is answered from the first reply"
    found = call("OfferService", "SearchOffers", name="r2e2", near_grid_code="2CGV2200+", within_km=10)
    assert [f.offer.offer_id for f in found.offers] == [posted.offer_id]

    try:
        call("OfferService", "CreateOffer", token=token, offer={"cultivar": "Kesington", "quantity": -1})
        raise AssertionError("a wrong offer was taken")
    except grpc.RpcError as error:
        assert error.code() == grpc.StatusCode.INVALID_ARGUMENT, error
        details = {d.type_url.rsplit(".", 1)[-1]: d for d in rpc_status.from_call(error).details}
        bad = error_details_pb2.BadRequest.FromString(details["BadRequest"].value)
        fields = [violation.field for violation in bad.field_violations]
        assert "offer.cultivar" in fields and "offer.quantity" in fields, fields
        info = error_details_pb2.ErrorInfo.FromString(details["ErrorInfo"].value)
        assert (info.reason, info.domain) == ("FIELDS_WRONG", "scionary")
    events = open_calendar(call, token)
    print(f"{events} events of a plan read by an independent parser")
    print(f"python story: {len(services)} services by reflection, looked up, posted, found, refused well")


def open_calendar(call, token):
    """Keeps a plan, ticks a step off, and finds every step with its days in the calendar file."""
    def day(wire):
        return datetime.date(wire.year, wire.month, wire.day)

    title = "By the gate, second row; the \\ tree"
    wanted = {"cultivar": "R2E2", "way": "WAY_OWN_ROOTSTOCK", "climate": "CLIMATE_MILD", "south": True}
    plan = call("PlanService", "CreatePlan", token=token, plan=wanted, title=title).plan
    today = datetime.date.today()
    done = {"year": today.year, "month": today.month, "day": today.day}
    plan = call("PlanService", "UpdateStep", token=token, plan_id=plan.plan_id, step_key="sow", done_on=done).plan
    note = "Bring shade cloth; twine, and\nlabels: 2 – größer, 接ぎ木の前に水をやる。" * 3
    plan = call("PlanService", "UpdateStep", token=token, plan_id=plan.plan_id, step_key="graft", note=note).plan
    text = call("PlanService", "ExportCalendar", token=token).calendar.encode()
    lines = text.split(b"\r\n")
    assert b"\n" not in b"".join(lines) and lines[-1] == b"", "lines end in CR LF"
    assert all(len(line) <= 75 for line in lines), "lines are folded at 75 octets"

    calendar = icalendar.Calendar.from_ical(text)
    assert not calendar.errors and calendar["VERSION"] == "2.0" and calendar["PRODID"], calendar.errors
    events = {}
    for event in calendar.walk("VEVENT"):
        assert not event.errors, event.errors
        uid = str(event["UID"])
        assert uid not in events, f"{uid} twice"
        assert isinstance(event["DTSTAMP"].dt, datetime.datetime) and event["DTSTAMP"].dt.tzinfo
        assert not isinstance(event["DTSTART"].dt, datetime.datetime), "whole days"
        events[uid] = event
    expected = len(plan.steps)
    for step in plan.steps:
        uid = f"{plan.plan_id}.{step.step_key}@scionary"
        event = events[uid]
        first = day(step.done_on) if step.HasField("done_on") else day(step.earliest)
        assert event["DTSTART"].dt == first, (uid, event["DTSTART"].dt, first)
        assert title in event["SUMMARY"], event["SUMMARY"]
        assert step.about in event["DESCRIPTION"]
        end = event["DTEND"].dt - datetime.timedelta(days=1)
        until = step.first_until if step.HasField("first_until") else step.latest
        if not step.HasField("done_on") and "(first day)" not in event["SUMMARY"]:
            assert end == day(until), (uid, end)
        else:
            assert end == first, (uid, end)
        if step.step_key == "graft":
            assert note in event["DESCRIPTION"], event["DESCRIPTION"]
    assert expected == len(events), (expected, sorted(events))
    return len(events)


if __name__ == "__main__":
    main(sys.argv[1])
