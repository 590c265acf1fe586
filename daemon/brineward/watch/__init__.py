"""What is known of brineward itself: link, clocks, silences, reaching people, troubles. Pure."""
