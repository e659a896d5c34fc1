"""Make the S-57 cells in `cells/` and `cells_180/`: an invented coast, written by GDAL's own S-57 writer.

Run by Debian's Python, whose GDAL can write S-57 (``apt-get install python3-gdal``)::

    /usr/bin/python3 tests/reference/make_cells.py

What is drawn here is the outside value: `contents.json` lists every object as it was drawn, so that a test can hold
what was read against it. The reader under test shares no code with this. GDAL's writer knows no updates and no feet;
an update is its output with the bytes changed that say "insert", "delete" and "modify" (S-57 3.1, part 3, clause
7.6.1, RUIN), and a cell in feet with those that say "metres" (clause 7.3.2.1, DUNI and HUNI).

There is a coast at 1:90,000 with an update, a harbour at 1:12,000 inside it, and a cell at 1:45,000 beside it in
fathoms and feet; and two cells that meet at the 180th meridian. Nothing in them exists.
"""

import json
import shutil
import struct
import sys
import tempfile
from pathlib import Path

from osgeo import gdal, ogr

gdal.UseExceptions()
HERE = Path(__file__).parent / "cells"
NODE, JOINT, EDGE = 110, 120, 130  # S-57 3.1, part 3, table 2.2: isolated node, connected node, edge
INSERT, DELETE, MODIFY = 1, 2, 3  # S-57 3.1, part 3, clause 7.6.1
NUMBER = 65_000  # of an agency that doesn't exist


class Cell:
    """A cell being drawn."""

    def __init__(self, name: str, scale: int, *, first: int = 1, update: int = 0, issued: str = "20260401") -> None:
        self.name, self.scale, self.update, self.issued = name, scale, update, issued
        self.next_vector, self.next_feature = first, first
        self.vectors: list[tuple[str, dict, str]] = []
        self.features: list[tuple[str, dict, list, dict]] = []
        self.edges: dict[str, int] = {}
        self.changes: dict[int, int] = {}
        self.drawn: list[dict] = []

    def vector(self, layer: str, kind: int, shape: str, **more: int) -> int:
        """Add a piece of outline."""
        number = self.next_vector
        self.next_vector += 1
        self.vectors.append((layer, {"RCNM": kind, "RCID": number, **more}, shape))
        return number

    def edge(self, points: list) -> int:
        """Add an edge between two joints, or the one that is there already."""
        key = repr(points)
        if key not in self.edges:
            begin = self.vector("ConnectedNode", JOINT, _wkt("POINT", points[:1]))
            end = begin if points[0] == points[-1] else self.vector("ConnectedNode", JOINT, _wkt("POINT", points[-1:]))
            joints = {"NAME_RCNM_0": JOINT, "NAME_RCID_0": begin, "ORNT_0": 255, "USAG_0": 255, "TOPI_0": 1}
            joints |= {"NAME_RCNM_1": JOINT, "NAME_RCID_1": end, "ORNT_1": 255, "USAG_1": 255, "TOPI_1": 2}
            joints |= {"MASK_0": 255, "MASK_1": 255}
            self.edges[key] = self.vector("Edge", EDGE, _wkt("LINESTRING", points[1:-1]), **joints)
        return self.edges[key]

    def add(self, kind: str, primitive: int, pieces: list, shape: str, change: int = INSERT, **values: object) -> int:
        """Add an object, and note it down as drawn."""
        number = self.next_feature
        self.next_feature += 1
        self.features.append((kind, {"RCID": number, "PRIM": primitive, "FIDN": number}, pieces, values))
        self.changes[number] = change
        self.drawn.append({"kind": kind, "number": number, "shape": shape, "values": values})
        return number

    def point(self, kind: str, at: tuple, **values: object) -> int:
        """Draw a point."""
        node = self.vector("IsolatedNode", NODE, _wkt("POINT", [at]))
        return self.add(kind, 1, [(NODE, node, 255, 255)], _wkt("POINT", [at]), **values)

    def line(self, kind: str, points: list, **values: object) -> int:
        """Draw a line."""
        return self.add(kind, 2, [(EDGE, self.edge(points), 1, 255)], _wkt("LINESTRING", points), **values)

    def area(self, kind: str, outer: list, holes: list = (), **values: object) -> int:
        """Draw an area; holes share their outline with what lies in them."""
        rings = [[*ring, ring[0]] for ring in (outer, *holes)]
        pieces = [(EDGE, self.edge(ring), 1, 1 if place == 0 else 2) for place, ring in enumerate(rings)]
        text = ", ".join(f"({_pairs(ring)})" for ring in rings)
        return self.add(kind, 3, pieces, f"POLYGON ({text})", **values)

    def soundings(self, spots: list, **values: object) -> int:
        """Draw soundings, which are one object."""
        text = ", ".join(f"{x} {y} {z}" for x, y, z in spots)
        node = self.vector("IsolatedNode", NODE, f"MULTIPOINT Z ({text})")
        return self.add("SOUNDG", 1, [(NODE, node, 255, 255)], f"MULTIPOINT Z ({text})", **values)

    def write(self, folder: Path, *, vertical: int = 17, sounding: int = 23, feet: bool = False) -> None:
        """Write the file."""
        path = folder / f"{self.name}.{self.update:03d}"
        draft = Path(tempfile.mkdtemp()) / f"{self.name}.000"  # the writer notes this name down
        kinds = [vector[0] for vector in self.vectors]
        meta = sum(feature[0].startswith("M_") for feature in self.features)
        options = {
            "S57_CSCL": self.scale,
            "S57_VDAT": vertical,
            "S57_SDAT": sounding,
            "S57_AGEN": NUMBER,
            "S57_EDTN": 3,
            "S57_UPDN": self.update,
            "S57_UADT": self.issued,
            "S57_ISDT": self.issued,
            "S57_NOMR": meta,
            "S57_NOGR": len(self.features) - meta,
            "S57_NOIN": kinds.count("IsolatedNode"),
            "S57_NOCN": kinds.count("ConnectedNode"),
            "S57_NOED": kinds.count("Edge"),
        }
        driver = gdal.GetDriverByName("S57")
        words = [f"{key}={value}" for key, value in options.items()]
        source = driver.Create(str(draft), 0, 0, 0, gdal.GDT_Unknown, options=words)
        for layer, values, shape in self.vectors:
            _write_row(source.GetLayerByName(layer), values, shape)
        for kind, values, pieces, attributes in self.features:
            layer = source.GetLayerByName(kind)
            columns = list(zip(*pieces, strict=True)) if pieces else []
            names = ("NAME_RCNM", "NAME_RCID", "ORNT", "USAG", "MASK")
            linked = dict(zip(names, [*columns, [255] * len(pieces)], strict=True)) if pieces else {}
            number = ogr_number(layer)
            row = {**values, "GRUP": 2, "OBJL": number, "RVER": 1, "AGEN": NUMBER, "FIDS": 1, **attributes}
            _write_row(layer, row | linked, None)
        source = None
        path.write_bytes(_changed(draft.read_bytes(), self, feet=feet))
        shutil.rmtree(draft.parent)


def ogr_number(layer: ogr.Layer) -> int:
    """Return the number of a class of objects; GDAL's table has it."""
    return CLASS_NUMBERS[layer.GetName()]


def _write_row(layer: ogr.Layer, values: dict, shape: str | None) -> None:
    feature = ogr.Feature(layer.GetLayerDefn())
    for key, value in values.items():
        if feature.GetFieldIndex(key) < 0:
            raise KeyError(f"{layer.GetName()} has no {key}")
        feature[key] = list(value) if isinstance(value, tuple) else value
    if shape:
        feature.SetGeometry(ogr.CreateGeometryFromWkt(shape))
    layer.CreateFeature(feature)


def _wkt(kind: str, points: list) -> str:
    return f"{kind} ({_pairs(points)})" if points else f"{kind} EMPTY"


def _pairs(points: list) -> str:
    return ", ".join(f"{x} {y}" for x, y in points)


def _changed(body: bytes, cell: Cell, *, feet: bool) -> bytes:
    """Change what GDAL's writer can't say: updates and units."""
    whole, start = b"", 0
    while start < len(body):
        length, base = int(body[start : start + 5]), int(body[start + 12 : start + 17])
        record = bytearray(body[start : start + length])
        start += length
        sizes = [int(chr(record[at])) for at in (23, 20, 21)]  # of a tag, a length and a place in the directory
        place = {}
        for at in range(24, base - 1, sum(sizes)):
            tag = bytes(record[at : at + sizes[0]])
            place[tag] = base + int(record[at + sizes[0] + sizes[1] : at + sum(sizes)])
        if whole and b"DSPM" in place:
            if cell.update:
                continue  # an update has no such record
            if feet:
                record[place[b"DSPM"] + 12 : place[b"DSPM"] + 14] = bytes([2, 2])  # fathoms and feet; feet
        if whole and b"FRID" in place:
            number = struct.unpack_from("<I", record, place[b"FRID"] + 1)[0]
            record[place[b"FRID"] + 11] = cell.changes[number]
            if cell.changes[number] != INSERT:
                record[place[b"FRID"] + 9] = 2  # its second version
        whole += bytes(record)
    return whole


CLASS_NUMBERS: dict[str, int] = {}


def _read_class_numbers() -> None:
    for line in (Path(gdal.GetConfigOption("GDAL_DATA") or "/usr/share/gdal") / "s57objectclasses.csv").open(
        encoding="latin-1"
    ):
        parts = line.split(",")
        for part in parts[2:4]:  # a name in quotes may hold a comma
            if parts[0].isdigit() and int(parts[0]) < 1000 and part.strip('"').isupper():
                CLASS_NUMBERS.setdefault(part.strip('"'), int(parts[0]))


def box(west: float, south: float, east: float, north: float) -> list:
    """Draw a rectangle."""
    return [(west, south), (west, north), (east, north), (east, south)]


KNAP = [(-38.12, 44.02), (-38.13, 44.05), (-38.10, 44.07), (-38.07, 44.06), (-38.06, 44.03), (-38.09, 44.015)]
GULL = [(-38.04, 44.03), (-38.045, 44.045), (-38.025, 44.05), (-38.02, 44.035)]
FIVE = box(-38.16, 44.0, -37.99, 44.085)  # the contour of five metres


def coast() -> Cell:
    """Draw the coast: 1:90,000."""
    cell = Cell("ZZ3AA001", 90_000)
    drying, twenty = box(-38.14, 44.01, -38.01, 44.075), box(-38.2, 43.98, -37.95, 44.11)
    dredged = box(-38.19, 44.04, -38.165, 44.05)
    unsurveyed = box(-38.29, 43.96, -38.25, 43.98)
    shut = box(-38.18, 44.095, -38.175, 44.1)
    cell.area("M_COVR", box(-38.3, 43.95, -37.9, 44.14), CATCOV=1)
    cell.area("M_COVR", box(-38.3, 44.14, -37.9, 44.15), CATCOV=2)
    cell.area("M_QUAL", box(-38.3, 43.95, -38.1, 44.14), CATZOC=3)
    cell.area("M_QUAL", box(-38.1, 43.95, -37.9, 44.14), CATZOC=5)
    cell.area("M_NSYS", box(-38.3, 43.95, -37.9, 44.14), MARSYS=1)
    cell.area("DEPARE", box(-38.3, 43.95, -37.9, 44.14), [twenty, unsurveyed], DRVAL1=20, DRVAL2=50)
    cell.area("DEPARE", twenty, [FIVE, dredged, shut], DRVAL1=5, DRVAL2=20)
    cell.area("DRGARE", dredged, DRVAL1=6.5, OBJNAM="West Cut")
    cell.area("DRGARE", shut, DRVAL1=5.5, RESTRN=["7"], OBJNAM="Closed Cut")
    cell.area("DEPARE", FIVE, [drying], DRVAL1=0, DRVAL2=5)
    cell.area("DEPARE", drying, [KNAP, GULL], DRVAL1=-1.5, DRVAL2=0)
    cell.area("UNSARE", unsurveyed)
    cell.area("LNDARE", KNAP, OBJNAM="Knap")
    cell.area("LNDARE", GULL)
    _draw_islets_and_spans(cell)
    _draw_dangers(cell)
    _draw_shore(cell)
    _draw_rules(cell)
    _draw_names(cell)
    _draw_snares(cell)
    return cell


def _draw_islets_and_spans(cell: Cell) -> None:
    cell.point("LNDARE", (-37.97, 44.09), OBJNAM="Tern Rock")
    cell.line("LNDARE", [(-37.98, 44.095), (-37.979, 44.097)])
    cell.line("COALNE", [*KNAP, KNAP[0]], CATCOA=1)
    cell.line("DEPCNT", [*FIVE, FIVE[0]], VALDCO=5)
    cell.line("BRIDGE", [(-38.06, 44.045), (-38.045, 44.045)], OBJNAM="Gull Bridge", CATBRG=["1"], VERCLR=12.5)
    cell.line("BRIDGE", [(-38.065, 44.04), (-38.0427, 44.038)], OBJNAM="Old Swing", CATBRG=["3"], VERCCL=3.2, VERCOP=30)
    cell.area("BRIDGE", box(-38.06, 44.0345, -38.03, 44.0347), OBJNAM="High Road", CATBRG=["9"], VERCLR=8)
    cell.line("BRIDGE", [(-38.0, 44.02), (-37.99, 44.02)], CATBRG=["1"])
    cell.line("CBLOHD", [(-38.06, 44.05), (-38.03, 44.049)], VERCLR=20, VERCSA=15)
    cell.line("PIPOHD", [(-38.06, 44.042), (-38.04, 44.0425)], VERCLR=9)


def _draw_dangers(cell: Cell) -> None:
    cell.point("WRECKS", (-38.22, 44.1), VALSOU=2.1, WATLEV=3, CATWRK=2, OBJNAM="Old Hob")
    cell.point("WRECKS", (-38.23, 44.1), WATLEV=3, CATWRK=2)
    cell.point("WRECKS", (-38.24, 44.1), VALSOU=28.4, WATLEV=3, CATWRK=1)  # 24: taken away by the update
    cell.point("WRECKS", (-38.25, 44.1), VALSOU=31.5, WATLEV=3, CATWRK=1)
    cell.point("WRECKS", (-38.26, 44.1), WATLEV=2, CATWRK=5)
    cell.point("UWTROC", (-38.18, 44.0), VALSOU=0.4, WATLEV=4)
    cell.point("UWTROC", (-38.18, 43.99), WATLEV=5)
    cell.area("OBSTRN", box(-37.98, 44.0, -37.978, 44.002), CATOBS=6)
    cell.point("OBSTRN", (-37.97, 44.0), VALSOU=6.2, WATLEV=3)


def _draw_shore(cell: Cell) -> None:
    cell.point("PILPNT", (-38.062, 44.055))
    cell.area("PONTON", box(-38.0595, 44.048, -38.0585, 44.0483))
    cell.line("PONTON", [(-38.06, 44.0475), (-38.0588, 44.0474)])
    cell.point("HULKES", (-38.058, 44.052), OBJNAM="Hulk Anna")
    cell.line("SLCONS", [(-38.0605, 44.053), (-38.0595, 44.053)], CATSLC=1)
    cell.point(
        "SMCFAC", (-38.0608, 44.0481), CATSCF=["13", "12"], OBJNAM="Knap Quay", INFORM="Diesel only, VHF channel 12"
    )
    cell.point("SMCFAC", (-38.0445, 44.0452), CATSCF=["13"], OBJNAM="Gull Stage")
    cell.area("SMCFAC", box(-38.031, 44.049, -38.03, 44.0495), CATSCF=["5", "13"])
    cell.point("SMCFAC", (-38.09, 44.02), CATSCF=["7"], OBJNAM="The Ladle")
    cell.point("SMCFAC", (-38.091, 44.02))


def _draw_rules(cell: Cell) -> None:
    cell.area("FAIRWY", box(-38.25, 44.03, -38.165, 44.06), OBJNAM="West Approach", ORIENT=85)
    cell.area("TSSLPT", box(-38.3, 43.99, -38.21, 44.0), ORIENT=90)
    cell.area("TSSLPT", box(-38.3, 43.98, -38.21, 43.985))
    cell.area("TSEZNE", box(-38.3, 43.985, -38.21, 43.99))
    cell.area("PRCARE", box(-38.21, 43.98, -38.2, 44.0), INFORM="Many ferries cross here")
    cell.area("RESARE", box(-38.13, 44.09, -38.12, 44.1), RESTRN=["7"], CATREA=["9"], OBJNAM="Fort Range")
    cell.area("RESARE", box(-38.11, 44.09, -38.1, 44.1), RESTRN=["14"])
    cell.area("RESARE", box(-38.09, 44.09, -38.08, 44.1), RESTRN=["13"], OBJNAM="Quiet Reach")
    cell.area("RESARE", box(-38.07, 44.09, -38.06, 44.1), RESTRN=["27"], INFORM="Speed limit 5 knots")
    cell.area("RESARE", box(-38.05, 44.09, -38.04, 44.1), RESTRN=["27"])
    cell.area("RESARE", box(-38.03, 44.09, -38.02, 44.1), RESTRN=["1", "3"], CATREA=["4"])
    cell.area("RESARE", box(-38.01, 44.09, -38.0, 44.1), RESTRN=["8"], INFORM="By leave of the warden")
    cell.area("RESARE", box(-37.99, 44.1, -37.985, 44.105))


def _draw_names(cell: Cell) -> None:
    cell.point("HRBFAC", (-38.061, 44.046), CATHAF=["5"], OBJNAM="Knap Harbour")
    cell.area("ACHARE", box(-38.05, 44.055, -38.04, 44.06), OBJNAM="Long Road")
    cell.area("ACHARE", box(-38.03, 44.055, -38.02, 44.06))
    cell.point("BOYLAT", (-38.2, 44.045), CATLAM=1, BOYSHP=2, COLOUR=["3"], OBJNAM="West Cut 1")
    cell.point("BCNLAT", (-38.165, 44.05), CATLAM=2, BCNSHP=1)
    cell.point("LIGHTS", (-38.09, 44.03), COLOUR=["1"])
    cell.area("SEAARE", box(-38.2, 43.98, -37.95, 44.11), OBJNAM="Knap Sound")
    cell.soundings(
        [(-38.17, 44.09, 12), (-38.17, 44.1, 3.2), (-38.25, 44.05, 25), (-38.18, 44.07, 4.8), (-38.27, 43.97, 0.5)]
    )
    cell.line("GATCON", [(-38.135, 44.06), (-38.134, 44.061)], CATGAT=4, OBJNAM="Knap Lock")


def _draw_snares(cell: Cell) -> None:
    """Draw what says two things at once, and what is easily taken for harmless."""
    both = "Max 8 knots; 12 kn for the ferry"
    cell.area("RESARE", box(-38.29, 44.12, -38.28, 44.13), RESTRN=["27", "13"], INFORM=both, OBJNAM="Both Reach")
    cell.area("RESARE", box(-38.27, 44.12, -38.26, 44.13), RESTRN=["27"], INFORM="12 kn by day, 5 kn by night")
    cell.area("RESARE", box(-38.25, 44.12, -38.24, 44.13), CATREA=["14"])
    cell.area("FAIRWY", box(-38.23, 44.12, -38.22, 44.13), RESTRN=["8"], OBJNAM="Warden's Way")
    cell.area("ACHARE", box(-38.21, 44.12, -38.2, 44.13), RESTRN=["13"], OBJNAM="Still Road")
    cell.area("TESARE", box(-38.19, 44.12, -38.18, 44.13), RESTRN=["14"])
    cell.point("MIPARE", (-38.17, 44.125), RESTRN=["7"], OBJNAM="Lone Target")
    cell.area("MARCUL", box(-38.15, 44.12, -38.14, 44.13), VALSOU=8, WATLEV=3, RESTRN=["27"], INFORM="4 kn")
    cell.point("OBSTRN", (-38.13, 44.125), VALSOU=9, WATLEV=7, OBJNAM="Moored Raft")
    cell.point("BCNLAT", (-38.12, 44.125), CATLAM=1, BCNSHP=1, OBJNAM="Perch 3")
    cell.point("BCNLAT", (-38.09, 44.035), CATLAM=1, BCNSHP=1)  # on the island
    span = [(-38.2, 44.115), (-38.19, 44.115)]
    cell.line("BRIDGE", span, CATBRG=["2"], VERCLR=2.5, VERCCL=3, VERCOP=9)
    said = "Diesel, no petrol; 50 m from the supermarket"
    cell.point("SMCFAC", (-38.15, 44.02), CATSCF=["13"], OBJNAM="Spar Steps", INFORM=said)
    cell.point("SMCFAC", (-38.15, 44.03), CATSCF=["13"], OBJNAM="Dry Steps", STATUS=["4"])
    cell.point("SMCFAC", (-38.15, 44.04), CATSCF=["13"], OBJNAM="Ice Steps", INFORM="Ice, VHF 9")
    cell.point("UWTROC", (-37.9, 44.0), WATLEV=4, OBJNAM="Seam Stone")  # on the edge of the cell in fathoms
    cell.line("BRIDGE", [(-37.9, 44.03), (-37.9, 44.04)], CATBRG=["1"], VERCLR=7, OBJNAM="Seam Bridge")
    cell.line("WEDKLP", [(-38.11, 44.12), (-38.1, 44.12)])


def correction(base: Cell) -> Cell:
    """Draw the update: a wreck found, a wreck raised, a bridge measured anew."""
    update = Cell("ZZ3AA001", 90_000, first=5000, update=1, issued="20260518")
    update.point("WRECKS", (-38.205, 44.055), VALSOU=1.2, WATLEV=3, CATWRK=2, OBJNAM="Grey Gannet")
    raised = next(row for row in base.drawn if row["values"].get("VALSOU") == 28.4)
    bridge = next(row for row in base.drawn if row["values"].get("OBJNAM") == "Gull Bridge")
    for row, change, values in ((raised, DELETE, {}), (bridge, MODIFY, {"VERCLR": 11.0})):
        update.next_feature = row["number"]
        update.add(row["kind"], 1 if change == DELETE else 2, [], "", change, **values)
    return update


def harbour() -> Cell:
    """Draw the harbour between the islands: 1:12,000."""
    cell = Cell("ZZ5AA001", 12_000, issued="20260420")
    sheet = box(-38.07, 44.028, -38.019, 44.06)
    knap = [(-38.07, 44.028), (-38.07, 44.06), (-38.0615, 44.055), (-38.0605, 44.04), (-38.061, 44.028)]
    cell.area("M_COVR", sheet, CATCOV=1)
    cell.area("M_QUAL", sheet, CATZOC=2)
    cell.area("LNDARE", knap, OBJNAM="Knap")
    cell.area("LNDARE", GULL, OBJNAM="Gull Holm")
    fair = [(-38.019, 44.028), (-38.019, 44.06), (-38.07, 44.06), *knap[2:]]
    cell.area("DEPARE", fair, [GULL], DRVAL1=2, DRVAL2=5)
    cell.line("BRIDGE", [(-38.0605, 44.045), (-38.045, 44.045)], OBJNAM="Gull Bridge", CATBRG=["1"], VERCLR=11.1)
    cell.point("UWTROC", (-38.05, 44.04), VALSOU=1.1, WATLEV=3, OBJNAM="Shear Stone")
    cell.point("SMCFAC", (-38.0606, 44.0482), CATSCF=["13"], OBJNAM="Knap Quay", INFORM="Petrol and diesel")
    return cell


def old_survey() -> Cell:
    """Draw a cell in fathoms and feet: 1:45,000."""
    cell = Cell("ZZ4FM001", 45_000, issued="20191001")
    sheet = box(-37.9, 43.95, -37.8, 44.05)
    shoal = box(-37.87, 43.98, -37.85, 44.0)
    strip = box(-37.81, 43.95, -37.8, 44.05)  # surveyed in metres
    cell.area("M_COVR", sheet, CATCOV=1)
    cell.area("M_UNIT", strip, DUNITS=1)
    cell.area("DEPARE", box(-37.9, 43.95, -37.81, 44.05), [shoal], DRVAL1=5, DRVAL2=10)
    cell.area("DEPARE", strip, DRVAL1=7, DRVAL2=12)
    cell.area("DEPARE", shoal, DRVAL1=0.5, DRVAL2=5)
    cell.line("BRIDGE", [(-37.88, 44.02), (-37.87, 44.02)], OBJNAM="Far Bridge", CATBRG=["1"], VERCLR=30)
    cell.point("UWTROC", (-37.83, 44.03), VALSOU=1.5, WATLEV=3)
    cell.point("OBSTRN", (-37.82, 44.03), VALSOU=3, WATLEV=3)
    crossed = [(-37.84, 43.96), (-37.83, 43.97), (-37.83, 43.96), (-37.84, 43.97)]
    cell.area("LNDARE", crossed, OBJNAM="Crossed Keys")  # its outline crosses itself
    return cell


def half(name: str, west: float, east: float, isle: list) -> Cell:
    """Draw one side of the 180th meridian, where cells end: 1:180,000."""
    cell = Cell(name, 180_000)
    cell.area("M_COVR", box(west, -17, east, -16.5), CATCOV=1)
    cell.area("DEPARE", box(west, -17, east, -16.5), [isle], DRVAL1=10, DRVAL2=30)
    cell.area("LNDARE", isle, OBJNAM=f"Isle of {name[-1]}")
    return cell


def main(folder: Path) -> None:
    """Write the cells and what was drawn in them."""
    folder.mkdir(exist_ok=True)
    _read_class_numbers()
    base = coast()
    update = correction(base)
    cells = {"ZZ3AA001.000": base, "ZZ3AA001.001": update, "ZZ5AA001.000": harbour(), "ZZ4FM001.000": old_survey()}
    for name, cell in cells.items():
        cell.write(folder, sounding=12 if name == "ZZ4FM001.000" else 23, feet=name == "ZZ4FM001.000")
    drawn = {
        name: [row | {"change": cell.changes[row["number"]]} for row in cell.drawn] for name, cell in cells.items()
    }
    (folder / "contents.json").write_text(json.dumps(drawn, indent=1) + "\n", encoding="utf-8")
    across = folder.with_name(f"{folder.name}_180")
    across.mkdir(exist_ok=True)
    half("ZZ2MERDW", 179.5, 180, box(179.7, -16.8, 179.8, -16.7)).write(across)
    half("ZZ2MERDE", -180, -179.5, box(-179.8, -16.8, -179.7, -16.7)).write(across)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
