"""Browsers: the HTTP and WebSocket server, its messages, pairing and roles. Knows nothing of terminals."""
