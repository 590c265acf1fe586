"""What is known of the watch itself: link, clocks, silences, people's reach, troubles. Pure."""
