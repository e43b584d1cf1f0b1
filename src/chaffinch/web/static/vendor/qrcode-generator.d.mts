/** What of the vendored module the phone app uses; the checker reads this in its place. */
interface Code {
  addData(data: string, mode: "Byte"): void;
  make(): void;
  getModuleCount(): number;
  isDark(row: number, column: number): boolean;
}
declare const qrcode: (type: number, correction: "L" | "M" | "Q" | "H") => Code;
export default qrcode;
