"""What the page for a browser needs beside the document."""
