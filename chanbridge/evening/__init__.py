"""What happens to a show once its paper is out: revisions, late changes, who was told, the rehearsal."""
