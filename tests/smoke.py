"""Whether the installed package works without its checkout: run it outside of that, with the checkout as argument."""

import sys
import tempfile
from importlib import metadata, resources
from pathlib import Path

import grader


def main(checkout: str) -> None:
    """Import, measure, value, keep and read again; any failure ends it with an error."""
    heavy = {"numpy", "cv2", "sqlalchemy", "streamlit"} & set(sys.modules)
    assert not heavy, f"importing grader brings {heavy}"
    assert not Path(grader.__file__).is_relative_to(checkout), "this is the checkout's package"
    assert grader.__version__ == metadata.version("board-gold-grader")
    for package in ("grader", "calibration", "app"):
        assert (resources.files(package) / "py.typed").is_file(), f"{package} has no py.typed"

    from grader.guide import guide_folder, guide_pages
    from grader.samples import samples_folder

    assert len(guide_pages()) > 10, "the guide is not complete"
    assert (guide_folder() / "pictures" / "found.jpg").is_file(), "the guide lacks its pictures"

    done = grader.measure(samples_folder() / "memory-modules.jpg", published=True)
    assert 0 < done.gold.low < done.gold.median < done.gold.high
    assert done.overlay(400).size[0] == 400
    with tempfile.TemporaryDirectory() as folder:
        done.save(f"{folder}/boards.json")
        assert grader.load_measurement(f"{folder}/boards.json").gold == done.gold
        with grader.open_log(f"{folder}/log.sqlite") as log:
            assert log.contents().lots == ()
    offer = grader.value(done, boards=4, count=400, spot="2650 USD/ozt")
    assert offer.plot().to_dict()["layer"]
    sys.stdout.write(f"Python {sys.version.split()[0]}: {done} {offer}\n")


if __name__ == "__main__":
    main(sys.argv[1])
