"""TCX and GPX texts for the tests, written by hand after the schemas; prefixes and namespaces are invented."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

START = datetime(2026, 5, 9, 8, tzinfo=UTC)


def stamp(second: float) -> str:
    return f"{START + timedelta(seconds=second):%Y-%m-%dT%H:%M:%SZ}"


def trackpoint(second: int, extra: str = "") -> str:
    return (
        f"<Trackpoint><Time>{stamp(second)}</Time><Position>"
        f"<LatitudeDegrees>{52.31 + second * 1e-5:.7f}</LatitudeDegrees>"
        "<LongitudeDegrees>-34.38</LongitudeDegrees></Position><AltitudeMeters>12.2</AltitudeMeters>"
        f"<DistanceMeters>{10.0 * second}</DistanceMeters><HeartRateBpm><Value>140</Value></HeartRateBpm>"
        "<Cadence>90</Cadence><SensorState>Present</SensorState><Extensions><q:TPX>"
        f"<q:Speed>{10 + second % 100 / 10}</q:Speed>"
        f"<q:Watts>{250 + second % 1000}</q:Watts>{extra}</q:TPX></Extensions>"
        "</Trackpoint>\n"
    )


def tcx_file(laps: Sequence[tuple[int, int]] = ((0, 20),), extra: str = "") -> bytes:
    """Laps as (start, end) in seconds, a point a second."""
    body = "".join(
        f'<Lap StartTime="{stamp(first)}"><TotalTimeSeconds>{last - first}</TotalTimeSeconds><Track>'
        + "".join(trackpoint(second, extra) for second in range(first, last))
        + "</Track></Lap>"
        for first, last in laps
    )
    device = (
        "<Creator><Name>Roadside</Name><UnitId>4711</UnitId><Version><VersionMajor>2</VersionMajor></Version></Creator>"
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?><TrainingCenterDatabase xmlns="urn:x:t" xmlns:q="urn:x:e"><Activities>'
    )
    return f"{text}<Activity><Id>1</Id>{body}{device}</Activity></Activities></TrainingCenterDatabase>".encode()


def trkpt(second: int, extra: str = "") -> str:
    return (
        f'<trkpt lat="{52.31 + second * 1e-5:.7f}" lon="-34.38"><ele>12.2</ele><time>{stamp(second)}</time><extensions>'
        f"<power>{250 + second % 1000}</power>"
        f"<z:TrackPointExtension><z:atemp>18</z:atemp><z:hr>140</z:hr><z:cad>90</z:cad>"
        f"<z:speed>10.5</z:speed></z:TrackPointExtension>{extra}</extensions></trkpt>\n"
    )


def gpx_file(segments: Sequence[tuple[int, int]] = ((0, 20),), extra: str = "") -> bytes:
    """Segments as (start, end) in seconds, a point a second."""
    body = "".join(
        "<trkseg>" + "".join(trkpt(second, extra) for second in range(first, last)) + "</trkseg>"
        for first, last in segments
    )
    text = '<?xml version="1.0"?><gpx version="1.1" creator="Roadside 2" xmlns="urn:x:g" xmlns:z="urn:x:z"><trk>'
    return f"{text}<name>day</name>{body}</trk></gpx>".encode()
