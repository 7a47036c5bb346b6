"""What people read about a job: the log, the report page, the proof picture."""
