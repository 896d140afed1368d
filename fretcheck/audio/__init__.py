"""Sound in: one `AudioSource` interface, and the segmenter that cuts plucks from a stream of blocks."""
