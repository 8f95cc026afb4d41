// Starts `amperule lsp` and shows what it explains.
const vscode = require('vscode');
const { LanguageClient, TransportKind } = require('vscode-languageclient/node');

const SCHEME = 'amperule';
let client;

function start() {
  const settings = vscode.workspace.getConfiguration('amperule');
  const args = ['lsp'];
  for (const folder of settings.get('rulesets')) args.push('--rulesets', folder);
  const server = { command: settings.get('path'), args, transport: TransportKind.stdio };
  client = new LanguageClient('amperule', 'Amperule', server, {
    documentSelector: [
      { language: 'amperule' },
      { scheme: 'file', language: 'yaml', pattern: '**/*.{yaml,yml}' },
    ],
    initializationOptions: { showsExplanations: true },
    synchronize: { fileEvents: vscode.workspace.createFileSystemWatcher('**/{*.amp,amperule.toml}') },
    middleware: {
      // The answer is a text to be read: it is shown beside the design.
      executeCommand: async (command, args, next) => {
        const text = await next(command, args);
        if (typeof text === 'string') await show(args[1], text);
        return text;
      },
    },
  });
  return client.start();
}

const explained = new Map();

async function show(rule, text) {
  const uri = vscode.Uri.from({ scheme: SCHEME, path: `/${rule}.txt` });
  explained.set(uri.toString(), text);
  const document = await vscode.workspace.openTextDocument(uri);
  await vscode.window.showTextDocument(document, { viewColumn: vscode.ViewColumn.Beside, preview: true });
}

exports.activate = async function (context) {
  const texts = { provideTextDocumentContent: (uri) => explained.get(uri.toString()) ?? '' };
  context.subscriptions.push(
    vscode.workspace.registerTextDocumentContentProvider(SCHEME, texts),
    vscode.commands.registerCommand('amperule.restart', async () => {
      await client?.stop();
      await start();
    }),
  );
  await start();
};

exports.deactivate = () => client?.stop();
