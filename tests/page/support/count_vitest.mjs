// Sums up vitest's report in the last line: node count_vitest.mjs REPORT.json
import { readFileSync } from 'node:fs';

const report = JSON.parse(readFileSync(process.argv[2], 'utf8'));
// A file that could not be read at all has no failed test, but it has failed.
const unread = report.testResults.filter((file) => file.status === 'failed' && file.assertionResults.length === 0).length;
const failed = report.numFailedTests + unread + (report.numTotalTests === 0 ? 1 : 0);
console.log(`${report.numPassedTests} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
