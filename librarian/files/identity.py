"""What names a version wherever it is: a digest of all that it is, in a form that anybody can write down again.

BLAKE2b, 16 bytes, of UTF-8 JSON without spaces, keys in alphabetical order: chart, detail, name, origin, received (hex)
and revision, taken (microseconds since 1970 UTC), unknown (sorted), values. `assets/guide/bundle.md` says the same.
"""

from __future__ import annotations

import json
from hashlib import blake2b

from librarian.collection.records import microseconds
from librarian.messages import Version


def identity(version: Version) -> bytes:
    """16 bytes, equal for equal versions and for no others. Remarks and the patch's name are no part of it."""
    told = {
        "chart": version.chart,
        "detail": version.origin.detail,
        "name": version.name,
        "origin": version.origin.kind,
        "received": [raw.hex() for raw in version.received],
        "revision": version.revision,
        "taken": microseconds(version.taken),
        "unknown": sorted(version.unknown),
        "values": dict(version.values),
    }
    text = json.dumps(told, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=16).digest()
