-- Neovim speaks with the program, set up by the very lines of src/lsp/editors/README.md: it attaches, shows
-- what is wrong, tells what a word means, renames, lays out, and forgets what is mended.
--
-- By hand, with the program on the path: nvim --headless -u NONE -c 'luafile tests/lsp/with_neovim.lua'

local root = vim.fn.fnamemodify(debug.getinfo(1, 'S').source:sub(2), ':p:h:h:h')

local function block_after(text, mark)
  local lines, from = {}, assert(text:find(mark, 1, true), 'README has no "' .. mark .. '"')
  for line in text:sub(from):gmatch('([^\n]*)\n') do
    local code = line:match('^    (.*)')
    if code then lines[#lines + 1] = code
    elseif #lines > 0 and line ~= '' then break end
  end
  return table.concat(lines, '\n')
end

local function wait(what, condition)
  assert(vim.wait(30000, condition, 20), 'still not: ' .. what)
end

-- Before 0.11 there was no `vim.lsp.enable`, before 0.8 no filetypes in Lua by themselves: only these differ.
local older = not (vim.lsp.enable and vim.lsp.start)
if older then
  vim.g.do_filetype_lua = 1
  vim.lsp.enable = function(name)
    local config = dofile(vim.api.nvim_get_runtime_file('lsp/' .. name .. '.lua', false)[1])
    vim.api.nvim_create_autocmd('FileType', { pattern = config.filetypes, callback = function(event)
      local found = vim.fs and vim.fs.find(config.root_markers, { upward = true, path = vim.fn.expand('%:p:h') })[1]
      local folder = found and vim.fn.fnamemodify(found, ':h') or vim.fn.expand('%:p:h')
      local client = vim.lsp.start_client({ name = name, cmd = config.cmd, root_dir = folder })
      vim.lsp.buf_attach_client(event.buf, client)
    end })
  end
end

local function try()
  local readme = table.concat(vim.fn.readfile(root .. '/src/lsp/editors/README.md'), '\n') .. '\n'
  local home = vim.fn.tempname()
  vim.fn.mkdir(home .. '/lsp', 'p')
  vim.fn.writefile(vim.split(block_after(readme, '`lsp/amperule.lua`'), '\n'), home .. '/lsp/amperule.lua')
  vim.opt.runtimepath:prepend(home)
  assert(loadstring(block_after(readme, 'and in `init.lua`')))()
  vim.cmd('filetype on')

  local whole = vim.fn.readfile(root .. '/examples/quarry-cottage-faults.amp')
  vim.fn.writefile(whole, home .. '/faults.amp')
  vim.cmd('edit ' .. home .. '/faults.amp')
  assert(vim.bo.filetype == 'amperule', 'a filetype: ' .. vim.bo.filetype)
  assert(vim.bo.commentstring == '# %s', 'how a comment is made: ' .. vim.bo.commentstring)
  assert(vim.tbl_contains(vim.opt_local.iskeyword:get(), '-'), 'a word holds "-"')

  local function errors()
    return vim.diagnostic.get(0, { severity = vim.diagnostic.severity.ERROR })
  end
  wait('eight errors', function() return #errors() >= 8 end)
  local told = {}
  for _, d in ipairs(errors()) do told[d.lnum + 1] = tostring(d.code) end
  local thin = vim.fn.search('size: 4 mm²')
  assert(thin > 0 and told[thin] and told[thin]:match('bond'), 'the thin bond is told at its line: ' .. vim.inspect(told))

  local function ask(method, params)
    local answers = assert(vim.lsp.buf_request_sync(0, method, params, 30000), 'an answer to ' .. method)
    local _, answer = next(answers)
    assert(answer and not (answer.error or answer.err), vim.inspect(answer))
    return answer.result
  end
  local client = vim.lsp.get_clients and vim.lsp.get_clients({ bufnr = 0 })[1] or vim.tbl_values(vim.lsp.buf_get_clients(0))[1]
  local encoding = client.offset_encoding
  vim.fn.search('^  Ze:', 'w')
  vim.cmd('normal! w')
  local hover = ask('textDocument/hover', vim.lsp.util.make_position_params(0, encoding))
  assert(hover.contents.value:match('supply%.Ze'), vim.inspect(hover))
  local offered = ask('textDocument/completion', vim.lsp.util.make_position_params(0, encoding))
  assert(#(offered.items or offered) > 0, 'words are offered')

  vim.fn.search('^board main', 'w')
  vim.cmd('normal! w')
  vim.lsp.buf.rename('old-board')
  wait('the new name, and where it is used', function() return vim.fn.search('^board old-board', 'nw') > 0 and vim.fn.search('at: old-board', 'nw') > 0 end)
  wait('what is wrong of it, again', function() return #errors() >= 8 end)

  -- The program's own layout comes back.
  local before = vim.api.nvim_buf_get_lines(0, 0, -1, false)
  local messy = vim.tbl_map(function(l) return (l:gsub('^  ', '       ')) end, before)
  vim.api.nvim_buf_set_lines(0, 0, -1, false, messy)
  if vim.lsp.buf.format then vim.lsp.buf.format({ timeout_ms = 30000 }) else vim.lsp.buf.formatting_sync(nil, 30000) end
  local after = vim.api.nvim_buf_get_lines(0, 0, -1, false)
  assert(vim.deep_equal(before, after), 'laid out as before')

  -- The bond is made thick enough: its error goes, the others stay.
  local count = #errors()
  local line = vim.fn.search('size: 4 mm²', 'w')
  vim.api.nvim_buf_set_lines(0, line - 1, line, false, { '  size: 10 mm²' })
  wait('one error less', function()
    for _, d in ipairs(errors()) do if d.lnum == line - 1 then return false end end
    return #errors() > 0 and #errors() < count
  end)
  return ('%d errors, %d after a mend; hover, completion, rename and layout as they should be'):format(count, #errors())
end

local ok, said = xpcall(try, debug.traceback)
io.stdout:write((ok and 'Neovim' or 'Neovim, at fault') .. (older and ' (older than the settings are for)' or '') .. ': ' .. said .. '\n')
for _, c in ipairs(vim.lsp.get_clients and vim.lsp.get_clients() or vim.lsp.get_active_clients()) do vim.lsp.stop_client(c.id) end
vim.cmd(ok and 'qall!' or 'cquit 1')
