"""Whatever writes leaves the old file or the new one, never half of it and no rubbish, whatever goes wrong meanwhile."""
