"""The pages in a real browser, headless Chromium driven by Playwright."""
