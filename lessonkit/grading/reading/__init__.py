"""Reading: bytes become cells, cells become answers, and nothing a student wrote runs outside the box."""
