"""No test reaches beyond this machine, and the block that says so works."""

import socket

import pytest
from pytest_socket import SocketConnectBlockedError

DOCUMENTATION_ADDRESS = "192.0.2.1"  # TEST-NET-1, RFC 5737: routed nowhere


@pytest.mark.filterwarnings("ignore:A test tried to use socket")
def test_a_connection_to_another_machine_is_refused() -> None:
    with pytest.raises(SocketConnectBlockedError, match=DOCUMENTATION_ADDRESS):
        socket.create_connection((DOCUMENTATION_ADDRESS, 80), timeout=1)


def test_this_machine_can_be_reached() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server, socket.create_connection(server.getsockname()) as client:
        assert client.getpeername() == server.getsockname()
