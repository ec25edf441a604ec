import { defineConfig } from 'vitest/config';

export default defineConfig({ test: { include: ['{wire,model,draw,pages,parts}/**/*.test.ts'], environment: 'node', watch: false } });
