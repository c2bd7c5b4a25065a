"""Sessions and shots in a database: SQLAlchemy models, migrations, writing and the queries the page needs.

What comes out is plain: frozen dataclasses and dicts, never an object tied to a database session. Importing this
package costs about half a second (SQLAlchemy), so import it inside the function that needs it.
"""

from quiethand.live_status import LiveStatus, read_live_status, write_live_status
from quiethand.store.measures import MEASURES, Measure, measures_of
from quiethand.store.records import (
    Earlier,
    RecordingFacts,
    RejectedRecord,
    SeriesPoint,
    Shooter,
    ShotFilter,
    ShotRecord,
)  # fmt: skip
from quiethand.store.store import Store, open_store
from quiethand.store.typed_records import (
    Calibration,
    Call,
    Correction,
    Exclusion,
    Impact,
    Limit,
    NewImpact,
    Remark,
    Sensor,
    SetupVersion,
    ShotMarks,
)  # fmt: skip

__all__ = [
    "MEASURES", "Calibration", "Call", "Correction", "Earlier", "Exclusion", "Impact", "Limit", "LiveStatus", "Measure",
    "NewImpact", "RecordingFacts", "RejectedRecord", "Remark", "Sensor", "SeriesPoint", "SetupVersion", "Shooter",
    "ShotFilter", "ShotMarks", "ShotRecord", "Store", "measures_of", "open_store", "read_live_status",
    "write_live_status",
]  # fmt: skip
