"""Series that leave the box: as files, exactly as the journal has them."""
