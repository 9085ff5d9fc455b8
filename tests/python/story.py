"""A third-party client's story: Python's grpcio knows nothing of Scionary but its address. It learns the
services by reflection, looks a cultivar up, makes an account, posts an offer, finds it, and reads a rich error.

Usage: story.py HOST:PORT
"""

import datetime
import sys
import uuid

import grpc
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
    assert "64 in 100" in looked.report.headline, looked.report.headline
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
    print(f"python story: {len(services)} services by reflection, looked up, posted, found, refused well")


if __name__ == "__main__":
    main(sys.argv[1])
