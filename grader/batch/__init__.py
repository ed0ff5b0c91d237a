"""What a batch takes: vessel loads, reagents, costs, time, waste and gas. It plans quantities, not the procedure."""

from grader.batch.charge import CutPieces, Given, charge_of, read_cut_plan
from grader.batch.model import BatchPlan, Feed, GasGivenOff, Oxidation, ReagentAmount, Vessels, Waste
from grader.batch.plan import plan_batch
from grader.batch.process import Process, example_process_text, load_process, process_sets

__all__ = [
    "BatchPlan",
    "CutPieces",
    "Feed",
    "GasGivenOff",
    "Given",
    "Oxidation",
    "Process",
    "ReagentAmount",
    "Vessels",
    "Waste",
    "charge_of",
    "example_process_text",
    "load_process",
    "plan_batch",
    "process_sets",
    "read_cut_plan",
]
