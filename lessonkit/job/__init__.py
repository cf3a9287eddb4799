"""Job: a described site as plain data, what its parts are and how they break."""
