"""Which cause a job has: the layers of the cause model and how they are fitted and stored."""
