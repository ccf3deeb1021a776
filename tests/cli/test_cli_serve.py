"""babbitt serve: answers on this machine, and ends without fuss."""

from __future__ import annotations

import re
import signal
import subprocess
import urllib.request

from shop import SCRIPT, Shop


def test_the_pages_are_served_until_interrupted(shop: Shop) -> None:
    command = [SCRIPT, "--logbook", shop.book, "serve", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as serving:
        try:
            assert serving.stdout is not None
            said = serving.stdout.readline().decode()
            found = re.search(r"http://127\.0\.0\.1:\d+", said)
            assert found, said
            with urllib.request.urlopen(found[0], timeout=30) as answer:
                assert answer.status == 200
                assert b"Babbitt" in answer.read()
            serving.send_signal(signal.SIGINT)
            _, errors = serving.communicate(timeout=30)
        finally:
            serving.kill()
    assert serving.returncode == 0
    assert errors == b""


def test_an_address_that_others_reach_needs_a_password(shop: Shop) -> None:
    refused = shop("serve", "--host", "0.0.0.0", "--port", "0")
    assert refused.status == 1
    assert refused.err == (
        "babbitt: Others could reach 0.0.0.0, and this logbook has no password: set one with "
        "`babbitt serve --set-password` first.\n"
    )
