# noqa: INP001 (a script beside its products, no package)
"""Make the sample photos: path-traced renders of invented boards beside our own printed target, with their truth.

    python sample_images/make_samples.py RENDER_BENCH [--out FOLDER] [--only NAME ...] [--draft]

RENDER_BENCH is the folder of the renderer's package ``render_bench``. Its boards, materials, lights, phone camera and
exact masks are used as they are; two of its functions are replaced while this script runs: the one that draws the
printed sheet (it draws ours, from the very PDF that ``grader target`` writes, at print factor 1) and the one that
lays out a scene (boards and sheet lie where ``SCENES`` says).

Needs mitsuba, scipy, shapely, opencv-python-headless, pypdfium2, pillow and reportlab, and this project importable.
Files of the same name are overwritten; ``truth.json`` keeps the entries of scenes that are not made again.
"""

from __future__ import annotations

import argparse
import functools
import importlib
import io
import json
import math
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pypdfium2
import pypdfium2.raw as raw
from PIL import Image
from shapely.geometry import Polygon

from calibration.target import PAPER_MM, Paper, own_target
from calibration.target_pdf import BLOCK_MM, target_pdf

SHEET_PX_PER_MM = 20
WHITE_PAPER, BLACK_INK = 0.84, 0.035
# in the renderer: the sheet above the table, a board at least above the table, gold above the board's laminate
SHEET_HEIGHT_MM, BOARD_HEIGHT_MM, GOLD_HEIGHT_MM = 0.1, 0.15, 0.035
_SHEAR = 1e-5
FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
SAMPLES_PER_PIXEL, SAMPLES_PER_PASS, JPEG_QUALITY = 36, 9, 90


@dataclass(frozen=True)
class Board:
    """One board: its design and where its middle lies, seen from the sheet's middle (x right, y up).

    Attributes:
        family: of the renderer's designs.
        seed: of the design.
        x_mm: rightwards.
        y_mm: upwards.
        turn_deg: counter-clockwise.
        lift_mm: by what stands proud on its underside.
        on_others: True where it rests on the boards before it.
    """

    family: str
    seed: int
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0
    lift_mm: float = 0.0
    on_others: bool = False


@dataclass(frozen=True)
class Sheet:
    """Our printed sheet as it lies in the scene: the whole page, or the block cut out along its dashed line."""

    paper: Paper
    part: Literal["block", "page"]


@dataclass(frozen=True)
class Scene:
    """A sample photo.

    Attributes:
        name: of its files.
        family: of the scene; with ``seed`` it makes the renderer draw camera, surface, light and development.
        seed: of the scene.
        boards: what is laid out.
        sheet: our target, or None.
        light: kind of light.
        width_px: of the photo.
        keeps_exif: whether the photo still says its focal length; photos of listings mostly do not.
        known_length_board: number of the board whose long plain edge is the known length, or None.
    """

    name: str
    family: str
    seed: int
    boards: tuple[Board, ...]
    sheet: Sheet | None
    light: str
    width_px: int
    keeps_exif: bool
    known_length_board: int | None = None


SCENES = (
    Scene(
        name="memory-modules",
        family="memory",
        seed=109,
        boards=(
            Board("memory", 9, -18, -83, 1.5),
            Board("memory", 11, 6, -117, -2.0),
            Board("memory", 1, -12, -153, 0.8),
            Board("memory", 14, 9, -188, 178.0, lift_mm=0.6),
        ),
        sheet=Sheet("letter", "block"),
        light="window",
        width_px=2000,
        keeps_exif=True,
    ),
    Scene(
        name="expansion-card",
        family="expansion",
        seed=185,
        boards=(Board("expansion", 10, 3, -111, -4.0, lift_mm=1.4),),
        sheet=Sheet("a4", "block"),
        light="mixed",
        width_px=1800,
        keeps_exif=True,
    ),
    Scene(
        name="strip-boards",
        family="strip",
        seed=260,
        boards=(
            Board("strip", 12, -10, -84, 2.0),
            Board("strip", 8, 6, -115, -3.0, lift_mm=0.6),
            Board("strip", 7, -2, -147, 181.0),
        ),
        sheet=Sheet("a4", "block"),
        light="softbox",
        width_px=2000,
        keeps_exif=False,
    ),
    Scene(
        name="breakout-pads",
        family="breakout",
        seed=4,
        boards=(
            Board("breakout", 5, -60, -58, 8.0),
            Board("breakout", 14, 14, -47, -5.0),
            Board("breakout", 10, 8, -100, 3.0, lift_mm=0.6),
            Board("breakout", 12, 77, -84, 12.0),
        ),
        sheet=Sheet("a4", "page"),
        light="ceiling",
        width_px=2400,
        keeps_exif=True,
    ),
    Scene(
        name="no-gold",
        family="negative",
        seed=311,
        boards=(
            Board("negative", 2, -14, -86, -2.0),
            Board("negative", 4, -50, -138, 6.0, lift_mm=0.6),
            Board("negative", 1, 24, -124, -4.0),
            Board("negative", 6, 50, -165, 9.0),
        ),
        sheet=Sheet("letter", "block"),
        light="overcast",
        width_px=1800,
        keeps_exif=True,
    ),
    Scene(
        name="listing-photo",
        family="mixed",
        seed=48,
        boards=(
            Board("memory", 14, 0, 62, 4.0),
            Board("expansion", 3, -22, 0, -8.0),
            Board("memory", 8, 12, -64, 171.0),
            Board("breakout", 9, 76, 8, 74.0),
            Board("breakout", 2, -8, 22, 25.0, on_others=True),
        ),
        sheet=None,
        light="flash",
        width_px=1600,
        keeps_exif=False,
        known_length_board=0,
    ),
)


# --- the sheet


@functools.cache
def page_reflectance(paper: Paper) -> np.ndarray:
    """Our page as printed at 100 %: reflectance, float32 (rows, columns), ``SHEET_PX_PER_MM``."""
    width, height = (round(side * SHEET_PX_PER_MM) for side in PAPER_MM[paper])
    scale = SHEET_PX_PER_MM * 25.4 / 72
    document = pypdfium2.PdfDocument(target_pdf(paper))
    bitmap = pypdfium2.PdfBitmap.new_native(width, height, raw.FPDFBitmap_BGRx)
    bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, height)
    # PDFium moves the sides of upright rectangles to whole pixels, here by up to 0.05 mm; sheared by next to nothing,
    # they are drawn where they are
    matrix = raw.FS_MATRIX(scale, _SHEAR, _SHEAR, scale, 0, 0)
    raw.FPDF_RenderPageBitmapWithMatrix(bitmap, document[0], matrix, raw.FS_RECTF(0, 0, width, height), 0)
    page = bitmap.to_numpy()[:, :, 1].copy()
    document.close()
    # grey steps between black and white are edges: shares of ink
    reflectance = (BLACK_INK + (WHITE_PAPER - BLACK_INK) * page / 255.0).astype(np.float32)
    for place in own_target(paper).grey_patches:
        rows = _pixels(BLOCK_MM[1] + place.y0_mm, BLOCK_MM[1] + place.y1_mm)
        columns = _pixels(BLOCK_MM[0] + place.x0_mm, BLOCK_MM[0] + place.x1_mm)
        reflectance[rows, columns] = place.reflectance
    return reflectance


def printed_sheet(sheet: Sheet) -> tuple[np.ndarray, dict[str, Any]]:
    """What the renderer's own ``target_sheet`` gives: reflectance and facts, with the true size in ``sheet_mm``."""
    page = page_reflectance(sheet.paper)
    if sheet.part == "page":
        return page, {"sheet_mm": list(PAPER_MM[sheet.paper])}
    size = own_target(sheet.paper).outline_mm()[2]
    rows = _pixels(BLOCK_MM[1], BLOCK_MM[1] + size[1])
    columns = _pixels(BLOCK_MM[0], BLOCK_MM[0] + size[0])
    return page[rows, columns], {"sheet_mm": size.tolist()}


def _pixels(start_mm: float, end_mm: float) -> slice:
    return slice(round(start_mm * SHEET_PX_PER_MM), round(end_mm * SHEET_PX_PER_MM))


# --- the scene


def laid_out(scene: Scene, bench: Any) -> tuple[list[Any], Any, tuple[float, float, float] | None]:
    """What the renderer's own ``compose`` gives: designs with poses, the sheet, the sheet's pose."""
    poses: list[Any] = []
    heap: list[Any] = []
    for board in scene.boards:
        design = bench.boards.make(board.family, np.random.default_rng(board.seed))
        under = heap if board.on_others else []
        base = BOARD_HEIGHT_MM + board.lift_mm
        pose = bench.scene.rest(design, board.x_mm, board.y_mm, math.radians(board.turn_deg), under, base)
        poses.append((design, pose))
        heap.append(bench.scene.world_heights(design, pose))
    if scene.sheet is None:
        return poses, None, None
    return poses, printed_sheet(scene.sheet), (0.0, 0.0, 0.0)


def rendered(scene: Scene, bench: Any, folder: Path, draft: bool) -> dict[str, Any]:
    """Render a scene into ``folder``; the renderer's truth."""
    bench.render.compose = lambda _rng, _family, _style: laid_out(scene, bench)
    bench.render.trace = functools.partial(bench.trace, per_pass=SAMPLES_PER_PASS)
    truth: dict[str, Any] = bench.render.make_one(
        str(folder),
        scene.seed,
        scene.family,
        spp=4 if draft else SAMPLES_PER_PIXEL,
        width=640 if draft else scene.width_px,
        quality=JPEG_QUALITY,
        light=scene.light,
    )
    return truth


def with_focal_length(jpeg: bytes, focal_35mm: int) -> bytes:
    """A JPEG whose EXIF says the focal length as on full-frame film; the pixels' data stays as it is."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = focal_35mm
    body = exif.tobytes()
    segment = b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    return jpeg[:2] + segment + jpeg[2:]


# --- the truth


def _known_length(scene: Scene, truth: dict[str, Any]) -> dict[str, Any] | None:
    """A board's edge opposite its contacts: its length, and where its ends are in the photo."""
    if scene.known_length_board is None:
        return None
    board = truth["boards"][scene.known_length_board]
    width, height = board["size_mm"]
    outline = np.array(board["outline_mm"])
    ends = [board["outline_px"][int(np.argmin(np.hypot(*(outline - (x, height)).T)))] for x in (0.0, width)]
    return {"length_mm": width, "from_px": np.round(ends[0], 1).tolist(), "to_px": np.round(ends[1], 1).tolist()}


def facts(scene: Scene, truth: dict[str, Any]) -> dict[str, Any]:
    """What is true of a sample, for ``truth.json``."""
    boards = [
        {
            "family": b["family"],
            "design_seed": spec.seed,
            "solder_mask": b["solder_mask"],
            "finish": b["finish"],
            "thickness_mm": b["thickness_mm"],
            "face_height_mm": round(b["top_face_height_above_table_mm"] + GOLD_HEIGHT_MM - SHEET_HEIGHT_MM, 3),
            "finger_mm2": round(b["gold_visible_mm2"]["gold_finger"], 2),
            "pad_mm2": round(b["gold_visible_mm2"]["gold_pad"], 2),
            "contacts": [
                {"edge": f["edge"], "count": f["count"], "pitch_mm": f["pitch_mm"], "metal": f["metal"]}
                for f in b["fingers"]
            ],
            "outline_px": np.round(b["outline_px"], 1).tolist(),
            "area_mm2": round(Polygon(b["outline_mm"]).area, 1),
        }
        for b, spec in zip(truth["boards"], scene.boards, strict=True)
    ]
    gold = truth["gold_total"]
    plated = [b["finger_mm2"] + b["pad_mm2"] for b in boards]
    weights = plated if sum(plated) > 0 else [b["area_mm2"] for b in boards]
    seen_px = sum(Polygon(b["outline_px"]).area for b in boards)
    camera = truth["camera"]
    diagonal = math.hypot(camera["width"], camera["height"])
    focal_px = camera["K"][0][0]
    return {
        "image": f"{scene.name}.jpg",
        "gold_mask": f"masks/{scene.name}_gold.png",
        "plated_mm2": round(gold["visible_mm2"], 2),
        "finger_mm2": round(gold["finger_visible_mm2"], 2),
        "pad_mm2": round(gold["pad_visible_mm2"], 2),
        "px_per_mm": round(math.sqrt(seen_px / sum(b["area_mm2"] for b in boards)), 3),
        "face_height_mm": round(float(np.average([b["face_height_mm"] for b in boards], weights=weights)), 3),
        "target": scene.sheet and {"paper": scene.sheet.paper, "part": scene.sheet.part, "print_factor": 1.0},
        "known_length": _known_length(scene, truth),
        "width_px": camera["width"],
        "height_px": camera["height"],
        "focal_px": round(focal_px, 1),
        "k1_k2": [round(k, 5) for k in camera["dist_k1_k2_p1_p2_k3"][:2]],
        "exif_focal_35mm": round(focal_px / diagonal * FILM_DIAGONAL_MM) if scene.keeps_exif else None,
        "tilt_deg": round(truth["view"]["tilt_deg"], 2),
        "distance_mm": round(truth["view"]["distance_mm"], 1),
        "surface": truth["surface"],
        "light": truth["light"]["kind"],
        "family": scene.family,
        "seed": scene.seed,
        "made_by": f"make_samples.py, {scene.width_px} px wide, {SAMPLES_PER_PIXEL} samples a pixel, "
        f"JPEG quality {JPEG_QUALITY}",
        "boards": boards,
    }


def keep(scene: Scene, truth: dict[str, Any], folder: Path, out: Path) -> dict[str, Any]:
    """Copy photo and coverage mask of a rendered scene to ``out``; its facts."""
    entry = facts(scene, truth)
    jpeg = (folder / truth["files"]["image"]).read_bytes()
    if entry["exif_focal_35mm"] is not None:
        jpeg = with_focal_length(jpeg, entry["exif_focal_35mm"])
    (out / entry["image"]).write_bytes(jpeg)
    mask = Image.open(io.BytesIO((folder / truth["files"]["gold"]).read_bytes()))
    mask.save(out / entry["gold_mask"], optimize=True)
    return entry


# --- the command


def load_bench(folder: Path) -> Any:
    """The renderer's package from its folder."""
    sys.path.insert(0, str(folder.resolve().parent))
    bench = importlib.import_module(folder.resolve().name)
    for part in ("scene", "boards", "render"):
        importlib.import_module(f"{bench.__name__}.{part}")
    bench.trace = bench.render.trace
    return bench


def main() -> None:
    """Make the samples asked for."""
    parser = argparse.ArgumentParser(description="Make the sample photos and their truth.")
    parser.add_argument("render_bench", type=Path, help="folder of the renderer's package")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder for the results")
    parser.add_argument("--only", nargs="+", choices=[s.name for s in SCENES], help="make these alone")
    parser.add_argument("--draft", action="store_true", help="small and noisy, to look at a layout")
    options = parser.parse_args()
    bench = load_bench(options.render_bench)
    (options.out / "masks").mkdir(parents=True, exist_ok=True)
    record = options.out / "truth.json"
    entries = json.loads(record.read_text(encoding="utf-8")) if record.exists() else {}
    for scene in SCENES:
        if options.only and scene.name not in options.only:
            continue
        with tempfile.TemporaryDirectory() as folder:
            truth = rendered(scene, bench, Path(folder), options.draft)
            entries[scene.name] = keep(scene, truth, Path(folder), options.out)
        ordered = {s.name: entries[s.name] for s in SCENES if s.name in entries}
        record.write_text(json.dumps(ordered, indent=1) + "\n", encoding="utf-8")
        sys.stdout.write(f"{scene.name}: {entries[scene.name]['plated_mm2']} mm² {truth['seconds']}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
