"""The web tool in a process of its own, as its users start it."""

from __future__ import annotations

import http.client
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WITH_GUNICORN = "from webcapture.web.serving import Door, serve; serve(Door(port=0, trusted=('lan.test',)), None)"


class Running:
    """A server in a process of its own."""

    def __init__(self, program: str) -> None:
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", program],
            cwd=ROOT,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        assert self.process.stdout
        self.greeting = ""
        while "Ctrl+C" not in self.greeting:
            line = self.process.stdout.readline()
            assert line, self.process.communicate()[1]
            self.greeting += line
        self.port = int(re.search(r"https?://127\.0\.0\.1:(\d+)/", self.greeting)[1])

    def get(self, address: str = "/") -> tuple[http.client.HTTPResponse, bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request("GET", address)
        answer = connection.getresponse()
        return answer, answer.read()

    def stop(self, how: signal.Signals = signal.SIGINT) -> tuple[int, str]:
        """Its exit status and everything it complained about."""
        self.process.send_signal(how)
        complaints = self.process.communicate(timeout=30)[1]
        return self.process.returncode, complaints
