"""What a run can be written as: summary, JSON, waveform, coverage."""
