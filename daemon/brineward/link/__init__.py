"""The MQTT link: receives, acknowledges after commit, and nothing else."""
