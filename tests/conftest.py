"""What every test lives by: no network, the same random numbers each run."""

import socket

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "fixed", derandomize=True, deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("fixed")


@pytest.fixture(autouse=True)
def no_network(monkeypatch):
    """Connections to anywhere but this machine are refused."""
    connect = socket.socket.connect

    def only_here(self, address):
        host = address[0] if isinstance(address, tuple) else "local"
        if host not in ("local", "127.0.0.1", "::1", "localhost"):
            raise OSError(f"the tests do not use the network (asked for {host})")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", only_here)
