-- First statement of every commit: of two writers at once, one fails here and tries again.
UPDATE gate SET seq = seq + 1
