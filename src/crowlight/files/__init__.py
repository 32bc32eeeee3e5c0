"""Files in and out: tables of readings, sounds, exports."""
