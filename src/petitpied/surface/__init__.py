"""What lies on a shell: cracks, foot, dimples, colour. Pure; imports domain only."""
