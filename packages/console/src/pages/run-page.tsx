export function RunPage() {
  return <p>Run</p>;
}
