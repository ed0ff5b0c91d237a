"""The list of commands loads none of them, and says of each what its own help says first."""

import subprocess
import sys

import pytest
import typer

from grader.cli.app import app
from grader.cli.commands import Commands


@pytest.mark.parametrize("name", Commands.known)
def test_the_list_says_what_the_help_of_a_command_begins_with(name):
    command = typer.main.get_command(app).commands[name]
    assert " ".join(command.help.split("\n\n")[0].split()) == Commands.known[name].brief


def test_listing_the_commands_loads_neither_numpy_nor_opencv_nor_a_log():
    code = (
        "import sys; from grader.cli.app import app\n"
        "try: app(['--help'], standalone_mode=False)\n"
        "finally: print(sorted({'numpy', 'cv2', 'sqlalchemy', 'pydantic', 'onnxruntime', 'pint'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    assert "measure" in done.stdout


def test_valuing_loads_no_database_and_no_network():
    code = (
        "import sys, grader.cli.value\nprint(sorted({'sqlalchemy', 'onnxruntime', 'streamlit'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
