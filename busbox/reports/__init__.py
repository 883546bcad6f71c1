"""What a run left, for people and for programs: terminal, JSON, waveform."""
