"""From a change of an alarm to a text that is due: policy, who, pacing, wording. Pure."""
