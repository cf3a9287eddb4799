"""Signal: codes, frames and the channel that carries them, with no word of heating or cooling in them."""
