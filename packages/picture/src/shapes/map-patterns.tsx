/** Hatching and stippling, once for every map and key of the page. */
export function MapPatterns() {
  return (
    <svg class="map-patterns" width="0" height="0" aria-hidden="true">
      <defs>
        <pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
          <path class="hatch-line" d="M0 0V6" />
        </pattern>
        <pattern id="stipple" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(30)">
          <circle class="stipple-dot" cx="2" cy="2" r="0.95" />
        </pattern>
      </defs>
    </svg>
  );
}
