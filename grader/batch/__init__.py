"""What a batch takes: vessel loads, reagents, costs, time, waste and gas. It plans quantities, not the procedure."""

from grader.batch.charge import CutPieces, Given, charge_of, read_cut_plan
from grader.batch.model import Amount, BatchPlan, Feed, GasGivenOff, Oxidation, Vessels, Waste
from grader.batch.plan import plan_batch
from grader.batch.process import Process, example_process_text, load_process, process_sets

__all__ = [
    "Amount",
    "BatchPlan",
    "CutPieces",
    "Feed",
    "GasGivenOff",
    "Given",
    "Oxidation",
    "Process",
    "Vessels",
    "Waste",
    "charge_of",
    "example_process_text",
    "load_process",
    "plan_batch",
    "process_sets",
    "read_cut_plan",
]
