"""What lies in ``priors/``: read, checked, frozen."""
