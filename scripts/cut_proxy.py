"""An HTTP proxy that is gone after some bytes: `cut_proxy.py PORT BYTES`. For `bare_root`."""

import os
import socket
import sys
import threading
from urllib.parse import urlsplit

left = int(sys.argv[2])


def carry(from_: socket.socket, to: socket.socket) -> None:
    """Passes bytes on, and ends the program once there were enough."""
    global left
    while some := from_.recv(65536):
        left -= len(some)
        if left < 0:
            os._exit(0)
        to.sendall(some)
    to.shutdown(socket.SHUT_WR)


def serve(client: socket.socket) -> None:
    """One connection: CONNECT, or a request by its whole address."""
    head = b""
    while b"\r\n\r\n" not in head:
        head += client.recv(65536)
    verb, target, _ = head.split(b"\r\n", 1)[0].split(b" ")
    if verb == b"CONNECT":
        host, _, port = target.decode().rpartition(":")
    else:
        parts = urlsplit(target.decode())
        host, port = parts.hostname or "", str(parts.port or 80)
    server = socket.create_connection((host.strip("[]"), int(port)))
    if verb == b"CONNECT":
        client.sendall(b"HTTP/1.1 200 OK\r\n\r\n")
    else:
        server.sendall(head)
    threading.Thread(target=carry, args=(server, client), daemon=True).start()
    carry(client, server)


with socket.create_server(("127.0.0.1", int(sys.argv[1]))) as listening:
    while True:
        threading.Thread(target=serve, args=(listening.accept()[0],), daemon=True).start()
