"""Ports as the system tells them: nothing is opened, and every one has a name."""

from __future__ import annotations

import json
import subprocess
import sys

from asleft.link.ports import list_ports


def test_every_port_has_a_name_that_can_be_given_to_a_command() -> None:
    assert all(one.port for one in list_ports())


def test_the_command_lists_the_same_ports_and_makes_no_home(tmp_path) -> None:
    home = tmp_path / "home"
    command = [sys.executable, "-m", "asleft", "--home", str(home), "ports", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told = json.loads(done.stdout)
    assert told["schema"] == "asleft.ports/1"
    assert [one["port"] for one in told["ports"]] == [one.port for one in list_ports()]
    assert not home.exists()
